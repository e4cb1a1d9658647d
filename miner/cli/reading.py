"""Reads what every command on one client begins with."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from miner.core.errors import MinerError

if TYPE_CHECKING:
    from miner.records.client import Client
    from miner.rulebook import RuleBook
    from miner.tables.unit_table import UnitTable
    from miner.words.document import Parts


def records(folder: Path, rules_folder: Path | None) -> tuple[Client, RuleBook]:
    """Return one client's records and the rule books that apply to them.

    Raises:
        MinerError: the folder, a file in it or a rule book cannot be used.
    """
    from miner import steps

    rules = steps.load_rules(rules_folder, folder)
    return steps.read_client(folder, rules), rules


def shown(client: Client, table: UnitTable | None, day: str | None = None) -> None:
    """Write to the ledger that outcomes and habits of a table, or of one day, were shown.

    Raises:
        MinerError: there is a ledger that cannot be read.
    """
    from miner import steps
    from miner.cli.output import complain

    unit = "day" if table is None else table.unit
    dates = [day] if table is None else sorted(set(table.frame["date"].astype(str)))
    for note in steps.remember_shown(client, unit, [str(date) for date in dates]):
        complain(note)


def client_folder(folder: Path) -> Path:
    """Return the folder of one client, whatever it holds.

    Raises:
        MinerError: there is none, or it is the folder of a practice.
    """
    if not folder.is_dir() or (folder / "practice.toml").is_file():
        found = "this is a practice" if folder.is_dir() else "there is no such folder"
        raise MinerError(found, "a folder for one client", "Check the path.", file=folder)
    return folder


def before_patterns(client: Client, rules: RuleBook) -> Parts:
    """Return the cautions that come before anything a command says of habits and glucose."""
    from miner import steps
    from miner.words.cautions import Cautions

    return Cautions(steps.cautions(client, rules)).first()


def beside_patterns(client: Client, rules: RuleBook) -> Parts:
    """Return the cautions that are said beside any pattern, for the end of what is printed."""
    from miner import steps
    from miner.words.cautions import Cautions

    return Cautions(steps.cautions(client, rules)).last()
