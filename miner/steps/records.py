"""From a client folder to its tables: what every step begins with."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from miner import ledger, rulebook
from miner.caseload.running import Pace, Progress
from miner.core import resources
from miner.core.files import whole_file
from miner.core.messages import MinerError, closest
from miner.core.results import CautionText, CheckReport, Finding, Severity
from miner.followup.ticked import misplaced
from miner.ledger import replay
from miner.records import read_client as _read
from miner.records.check.one_person import others_with_same
from miner.records.client import Client
from miner.records.read.discover import practice_of
from miner.records.write.ticks import read_ticks
from miner.rulebook import RuleBook
from miner.steps.past import whose
from miner.tables import cautions as _cautions
from miner.tables import check as _check
from miner.tables import tabulate
from miner.tables.unit_table import UnitTable

if TYPE_CHECKING:
    import pandas as pd


def ledger_told(client: Client) -> tuple[Finding, ...]:
    """Return what is wrong with the ledger of a client: entries lost, changed, of a newer miner.

    A folder in which nothing can be written down is told too; without a ledger nothing is.

    Args:
        client: as read, or any client of that folder.
    """
    try:
        book = ledger.owned(ledger.read(client.folder), whose(client.settings, client.folder))
    except MinerError as error:
        why = {"why": error.as_message()}
        code = "ledger_unreadable"
        return (Finding(Severity.QUESTION, ledger.NAME, error.row, code=code, values=why),)
    newer = any(item.code == "ledger_newer" for item in book.problems)
    closed = Finding(Severity.NOTE, ledger.NAME, None, code="ledger_not_writable")
    return book.problems if book.writable or newer else (*book.problems, closed)


def ticks_told(client: Client) -> tuple[Finding, ...]:
    """Return what is wrong with the ticks of a client: as a file, and in the light of the plans.

    Args:
        client: as read, or any client of that folder.
    """
    try:
        ticks = read_ticks(client.folder)
        plans = replay(ledger.read(client.folder)).plans if ticks.by_day else ()
    except MinerError as error:
        why = {"why": error.as_message()}
        code = "ticks_unreadable"
        return (Finding(Severity.QUESTION, error.file, error.row, code=code, values=why),)
    return (*ticks.findings, *misplaced(ticks, plans))


def load_rules(folder: Path | None, client_folder: Path) -> RuleBook:
    """Read the rule books: shipped, replaced by the practice's, replaced by ``folder``."""
    practice = client_folder.resolve().parent / "rules"
    chosen = [practice] if practice.is_dir() else []
    return rulebook.load(*chosen, *([folder] if folder is not None else []))


def rules_of(client: Client, rules: RuleBook | Path | str | None) -> RuleBook:
    """Return the rule books given, those of a folder, or those that apply to the client.

    Raises:
        MinerError: they are none of these, or cannot be read.
    """
    if isinstance(rules, RuleBook):
        return rules
    if rules is not None and not isinstance(rules, Path | str):
        raise MinerError("steps.no_rule_book", kind=type(rules).__name__)
    return load_rules(None if rules is None else Path(rules), client.folder)


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


def client_of(client: Client | Path | str) -> Client:
    """Return a client that was read, or read the folder of one.

    Raises:
        MinerError: it is neither, or the folder cannot be read.
    """
    if isinstance(client, Client):
        return client
    if not isinstance(client, Path | str):
        raise MinerError("steps.no_client", kind=type(client).__name__)
    return read_client(client)


def days(client: Client | Path | str, rules: RuleBook | Path | str | None = None) -> UnitTable:
    """Return one row a biological day.

    Raises:
        MinerError: a finding of the check stops the work.
    """
    client = client_of(client)
    refuse_stopped(client)
    return tabulate(client, rules_of(client, rules), "day")


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
        92.0
        >>> table.attrs["units"]["wake_glucose"]
        'mg/dL'
    """
    client = client_of(client)
    books = rules_of(client, rules)
    return with_units(days(client, books), books)


def with_units(table: UnitTable, rules: RuleBook) -> pd.DataFrame:
    """Return a table's frame of its own, with the unit of each outcome in its ``attrs``."""
    frame = table.frame.copy()
    outcomes = {name: rules.outcome(name, table.unit) for name in table.outcomes}
    frame.attrs["units"] = {name: rule.measure_unit for name, rule in outcomes.items()}
    return frame


def check(client: Client | Path | str, rules: RuleBook | Path | str | None = None) -> CheckReport:
    """Return what was read, what is wrong with it and with the ledger, and the usable days.

    Example:
        >>> report = miner.check(client)
        >>> report.usable_days, report.days
        (41, 43)
        >>> [finding.severity.value for finding in report.findings].count("stop")
        0
    """
    client = client_of(client)
    return with_folder(check_records(client, rules_of(client, rules)), client)


def check_records(client: Client, rules: RuleBook | None = None) -> CheckReport:
    """Return the check of the records alone, which stays true while they are the same."""
    books = rules_of(client, rules)
    return _check(client, tabulate(client, books, "day"), books)


def with_folder(report: CheckReport, client: Client) -> CheckReport:
    """Return a check of the records with what is wrong with the ticks and the ledger now."""
    told = (*report.findings, *ticks_told(client), *ledger_told(client))
    return replace(report, findings=told)


def cautions(client: Client, rules: RuleBook | None = None) -> tuple[CautionText, ...]:
    """Return what has to be said to one who reads these records, before any pattern and after.

    Raises:
        MinerError: a finding of the check stops the work.
    """
    books = rules_of(client, rules)
    said, _ = _cautions(client, days(client, books), books)
    return said


def write_demo(folder: Path) -> Path:
    """Write the invented practice and return the folder of the client to rank."""
    truth = resources.invented().write_practice(Path(folder))
    return Path(folder) / str(min(truth["clients"]))


def refuse_stopped(client: Client) -> None:
    """Refuse records in which the check found what stops the work.

    Raises:
        MinerError: with what was found and what to do.
    """
    for finding in client.findings:
        if finding.severity is Severity.STOP:
            of, file, row = finding.as_message(), finding.file, finding.row
            raise MinerError("steps.of_finding", of=of, file=file, row=row)


MIN_DRAWS, MAX_DRAWS = 99, 1_000_000
MAX_SEED = 2**32 - 1


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
        MinerError: it is none, or lies outside.
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


def generate(
    practice: Path, clients: int, days: int, seed: int = 0, *, progress: Progress | None = None
) -> None:
    """Write an invented practice; the same numbers give the same bytes.

    Args:
        practice: a new or empty folder.
        clients: how many.
        days: days of records each.
        seed: of everything random.
        progress: told how far it has come.
    """
    invented = resources.invented()
    pace = Pace(clients, progress, "clients")
    invented.write_practice(practice, ())
    with whole_file(practice / "truth.json", durable=False) as file:
        file.write(b'{"invented": true, "clients": {')
        for at, one in enumerate(invented.scenarios(clients, days, seed)):
            truth = invented.write_client(practice / one.code, one)
            head = ",\n" if at else "\n"
            file.write(f"{head}{json.dumps(one.code)}: {json.dumps(truth)}".encode())
            pace.step()
        file.write(b"\n}}\n")
