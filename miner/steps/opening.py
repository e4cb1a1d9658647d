"""A client's folder, its rule books and its tables: what every use case begins with."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from miner import rulebook
from miner.core.messages import MinerError, Severity, closest
from miner.core.unit import Shape, Unit
from miner.records.check.one_person import others_with_same
from miner.records.client import Client
from miner.records.client_folder import read_client as _read
from miner.records.read.discover import practice_of
from miner.rulebook import RuleBook
from miner.tables import tabulate
from miner.tables.unit_table import UnitTable

if TYPE_CHECKING:
    import pandas as pd

MIN_DRAWS, MAX_DRAWS = 99, 1_000_000
MAX_SEED = 2**32 - 1


def opened(
    client: Client | Path | str, rules: RuleBook | Path | str | None = None
) -> tuple[Client, RuleBook]:
    """Return a client as read, and the rule books given or those that apply to its folder.

    Raises:
        MinerError: either is none, or cannot be read.
    """
    if not isinstance(client, Client | Path | str):
        raise MinerError("steps.no_client", kind=type(client).__name__)
    read = client if isinstance(client, Client) else read_client(client)
    return read, rules_of(read.folder, rules)


def read_client(folder: Path | str, rules: RuleBook | None = None) -> Client:  # noqa: ARG001
    """Read one client folder; see :class:`miner.records.client.Client`.

    Inside a practice a finding stops the work where another client has the very same readings.

    Example:
        >>> client = miner.read_client("miner-demo/client-01")
        >>> client.settings.code
        'client-01'
    """
    client = _read(Path(folder))
    practice = practice_of(client.folder, None)
    same = () if practice is None else tuple(others_with_same(client, practice, _read))
    return replace(client, findings=(*same, *client.findings)) if same else client


def rules_of(folder: Path, rules: RuleBook | Path | str | None = None) -> RuleBook:
    """Return the rule books given, those of a folder, or those that apply to a client's folder.

    What ships is replaced by the practice's, and that by the folder's.

    Raises:
        MinerError: they are none of these, or cannot be read.
    """
    if isinstance(rules, RuleBook):
        return rules
    if not isinstance(rules, Path | str | None):
        raise MinerError("steps.no_rule_book", kind=type(rules).__name__)
    practice = folder.resolve().parent / "rules"
    chosen = [practice] if practice.is_dir() else []
    return rulebook.load(*chosen, *([] if rules is None else [Path(rules)]))


def load_rules(folder: Path | None, client_folder: Path) -> RuleBook:
    """Read the rule books: shipped, replaced by the practice's, replaced by ``folder``."""
    return rules_of(client_folder, folder)


def refuse_stopped(client: Client) -> None:
    """Refuse records in which the check found what stops the work.

    Raises:
        MinerError: with what was found and what to do.
    """
    for finding in client.findings:
        if finding.severity is Severity.STOP:
            of, file, row = finding.as_message(), finding.file, finding.row
            raise MinerError("steps.of_finding", of=of, file=file, row=row)


def table_of(
    client: Client | Path | str, rules: RuleBook | Path | str | None, unit: str
) -> UnitTable:
    """Return a client's table of one unit: a row a biological day, or a row a meal or snack.

    Raises:
        MinerError: a finding of the check stops the work.
    """
    client, books = opened(client, rules)
    refuse_stopped(client)
    return tabulate(client, books, unit)


def days(client: Client | Path | str, rules: RuleBook | Path | str | None = None) -> UnitTable:
    """Return one row a biological day; see :func:`table_of`."""
    return table_of(client, rules, Unit.DAY)


def meals(client: Client | Path | str, rules: RuleBook | Path | str | None = None) -> UnitTable:
    """Return one row a meal or snack; see :func:`table_of`."""
    return table_of(client, rules, Unit.MEAL)


def reached(client: Client, rules: RuleBook, table: UnitTable, until: str) -> bool:
    """Say whether the records have passed a day; by the readings, whatever is noted."""
    frame = (table if table.unit == "day" else table_of(client, rules, "day")).frame
    dates, usable = frame["date"], frame["usable"].astype(bool)
    return bool((dates > until).any() or ((dates == until) & usable).any())


def last_day(client: Client, rules: RuleBook) -> str | None:
    """Return the last day of the records, ISO."""
    frame = table_of(client, rules, "day").frame
    return str(frame["date"].iloc[-1]) if len(frame) else None


def day_table(
    client: Client | Path | str, rules: RuleBook | Path | str | None = None
) -> pd.DataFrame:
    """Return one row a biological day as a DataFrame: outcomes and factors by name.

    ``attrs["units"]`` holds the unit of each outcome. Factors are 1.0 yes, 0.0 no, NaN unknown.

    Raises:
        MinerError: a finding of the check stops the work.

    Example:
        >>> table = miner.day_table(client)
        >>> float(table.loc["2026-01-13", "wake_glucose"])
        89.5
        >>> table.attrs["units"]["wake_glucose"]
        'mg/dL'
    """
    return _frame(client, rules, Unit.DAY)


def meal_table(
    client: Client | Path | str, rules: RuleBook | Path | str | None = None
) -> pd.DataFrame:
    """Return one row a meal or snack as a DataFrame: outcomes and factors by name.

    ``attrs["units"]`` holds the unit of each outcome. Factors are 1.0 yes, 0.0 no, NaN unknown.

    Raises:
        MinerError: a finding of the check stops the work.

    Example:
        >>> table = miner.meal_table(client)
        >>> table["meal"].tolist().count("dinner")
        34
        >>> table.attrs["units"]["rise"]
        'mg/dL'
    """
    return _frame(client, rules, Unit.MEAL)


def _frame(
    client: Client | Path | str, rules: RuleBook | Path | str | None, unit: Unit
) -> pd.DataFrame:
    client, books = opened(client, rules)
    table = table_of(client, books, unit)
    frame = table.frame.copy()
    frame.attrs["units"] = {name: books.outcome(name, unit).measure_unit for name in table.outcomes}
    return frame


def outcome_of(rules: RuleBook, name: Any, unit: str) -> str:
    """Return the name of an outcome of one unit.

    Raises:
        MinerError: the rule books have no such outcome.
    """
    known = list(rules.outcomes_of(unit))
    if name not in known:
        code = "steps.no_outcome" if known else "steps.no_outcome_at_all"
        raise MinerError(code, name=name, unit=unit, known=known, close=closest(str(name), known))
    return str(name)


def word(name: str, value: Any) -> str:
    """Return a text.

    Raises:
        MinerError: it is none.
    """
    if not isinstance(value, str):
        raise MinerError("steps.not_text", name=name, value=repr(value))
    return value


def whole_number(name: str, value: Any, least: int, most: int) -> int:
    """Return a whole number within its bounds.

    Raises:
        MinerError: it is none, or is outside.
    """
    if isinstance(value, bool) or not hasattr(value, "__index__") or not least <= value <= most:
        raise MinerError("steps.not_in_range", name=name, value=repr(value), least=least, most=most)
    return int(value)


def draws_of(draws: Any, rules: RuleBook) -> int:
    """Return how many shuffles to compare with: the rule book's where none are asked for."""
    if draws is None:
        return rules.guardrails.draws
    return whole_number("draws", draws, MIN_DRAWS, MAX_DRAWS)


def seed_of(seed: Any) -> int:
    """Return the seed of everything drawn."""
    return whole_number("seed", seed, 0, MAX_SEED)


def require_shape(rules: RuleBook, factor: str, unit: str, shape: str | None) -> None:
    """Refuse an unknown shape, and a dose of a habit that is not measured.

    Raises:
        MinerError: with what can be asked.
    """
    if shape not in (None, *Shape):
        raise MinerError("steps.no_such_shape", shape=repr(shape))
    if shape == "dose" and not rules.factor(factor, unit).dose:
        raise MinerError("steps.no_dose", factor=factor)
