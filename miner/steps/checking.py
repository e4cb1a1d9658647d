"""What was read of a client, and what is wrong with it, with its ticks and with its ledger."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from miner import ledger, tables
from miner.core.messages import Message, MinerError, Severity, message
from miner.core.results import CautionText, CheckReport, Finding
from miner.followup.keeping import thaw
from miner.followup.pausing import Pause, pauses_of
from miner.followup.refusals import HeldBack
from miner.followup.ticked import misplaced
from miner.ledger import PlanKept
from miner.records.client import Client
from miner.records.write.ticks import read_ticks
from miner.rulebook import RuleBook
from miner.steps.opening import days, opened, rules_of


def check(client: Client | Path | str, rules: RuleBook | Path | str | None = None) -> CheckReport:
    """Return what was read, what is wrong with it and with the ledger, and the usable days.

    Example:
        >>> report = miner.check(client)
        >>> report.usable_days, report.days
        (41, 43)
        >>> [finding.severity.value for finding in report.findings].count("stop")
        0
    """
    client, books = opened(client, rules)
    return with_folder(check_records(client, books), client)


def check_records(client: Client, rules: RuleBook | None = None) -> CheckReport:
    """Return the check of the records alone, which stays true while they are the same."""
    books = rules_of(client.folder, rules)
    return tables.check(client, tables.tabulate(client, books, "day"), books)


def with_folder(report: CheckReport, client: Client) -> CheckReport:
    """Return a check of the records with what is wrong with the ticks and the ledger now."""
    told = (*report.findings, *ticks_told(client), *ledger_told(client))
    return replace(report, findings=told)


def cautions(client: Client, rules: RuleBook | None = None) -> tuple[CautionText, ...]:
    """Return what has to be said to one who reads these records, before any pattern and after.

    Raises:
        MinerError: a finding of the check stops the work.
    """
    client, books = opened(client, rules)
    said, _ = tables.cautions(client, days(client, books), books)
    return said


def held_of(client: Client, rules: RuleBook) -> HeldBack:
    """Return what holds habits of a client back.

    Raises:
        MinerError: a finding of the check stops the work.
    """
    return HeldBack(cautions(client, rules), client.folder, client.settings.clinician.covers)


def pauses_of_plan(client: Client, rules: RuleBook, item: PlanKept) -> tuple[Pause, ...]:
    """Return when a test had to wait for a caution that came after it was planned."""
    said = [one for one in cautions(client, rules) if one.class_]
    return pauses_of(said, _topic(rules, item), item.entry.at[:10]) if said else ()


def waits(client: Client, rules: RuleBook, item: PlanKept) -> bool:
    """Say whether a test that was not read is paused now."""
    pauses = () if item.verdict else pauses_of_plan(client, rules, item)
    return any(not one.until for one in pauses)


def pauses_told(client: Client, rules: RuleBook, item: PlanKept) -> tuple[Message, ...]:
    """Return every pause of a test in words; of the one that lasts, what lifts it."""
    pauses, told = pauses_of_plan(client, rules, item), list[Message]()
    if not pauses:
        return ()
    held, topic = held_of(client, rules), _topic(rules, item)
    for one in pauses:
        about = {"since": one.since, "until": one.until, "why": one.why}
        code = "was_paused" if one.until else f"paused_{held.lift(topic)}"
        told.append(message(f"steps.{code}", **(held.values(topic) | about | {"id": item.kept.id})))
    return tuple(told)


def _topic(rules: RuleBook, item: PlanKept) -> str:
    return thaw(item.kept.what, rules).factor(item.what.factor, item.kept.what.unit_of).about


def ledger_told(client: Client) -> tuple[Finding, ...]:
    """Return what is wrong with the ledger of a client: entries lost, changed, of a newer miner.

    A folder in which nothing can be written down is reported too; without a ledger nothing is.

    Args:
        client: as read, or any client of that folder.
    """
    try:
        book = ledger.owned(ledger.read(client.folder), client.settings.code)
    except MinerError as error:
        return (_unreadable("ledger", ledger.NAME, error),)
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
        plans = ledger.replay(ledger.read(client.folder)).plans if ticks.by_day else ()
    except MinerError as error:
        return (_unreadable("ticks", error.file, error),)
    return (*ticks.findings, *misplaced(ticks, plans))


def _unreadable(what: str, file: str | None, error: MinerError) -> Finding:
    why = {"why": error.as_message()}
    return Finding(Severity.QUESTION, file, error.row, f"{what}_unreadable", values=why)
