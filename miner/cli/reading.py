"""Reads what every command on one client begins with."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from miner.core.messages import MinerError
from miner.words.amounts import from_now_in
from miner.words.door import name_from_now

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
    client = steps.read_client(folder, rules)
    from_now_in(client.settings.display_unit)
    name_from_now(folder)
    return client, rules


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
        complain(str(note))


def client_folder(folder: Path) -> Path:
    """Return the folder of one client, whatever it holds.

    Raises:
        MinerError: there is none, or it is the folder of a practice.
    """
    if not folder.is_dir() or (folder / "practice.toml").is_file():
        code = "cli.practice_for_client" if folder.is_dir() else "cli.no_folder"
        raise MinerError(code, file=folder)
    name_from_now(folder)
    return folder


def cautioned(client: Client, rules: RuleBook, parts: Parts, *, beside: bool = True) -> Parts:
    """Return what a command says of habits and glucose between the cautions that belong to it.

    Args:
        client: as read.
        rules: the rule books.
        parts: what is said.
        beside: it speaks of patterns, beside which some cautions are said as well.
    """
    from miner import steps
    from miner.words.cautions import CautionBlocks

    cautions = CautionBlocks(steps.cautions(client, rules))
    return [*cautions.first(), *parts, *(cautions.last() if beside else ())]
