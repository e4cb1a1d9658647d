"""The state of each client, and with it the one next step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from miner.caseload.places import client_folders, is_remote
from miner.core.messages import MinerError
from miner.core.results import CheckReport, Evidence
from miner.core.results.caseload import Caseload
from miner.core.results.morning import ClientState
from miner.followup.ticked import not_ticked
from miner.ledger import FollowupState, Ledger, named, questions, read, replay
from miner.records.client import STREAMS, Client
from miner.records.write.ticks import read_ticks
from miner.rulebook import RuleBook
from miner.steps.checking import check_records
from miner.steps.client_ledger import ledger_of
from miner.steps.numbers import number_of
from miner.steps.opening import read_client, rules_of


def practice_states(
    practice: Path, on: date, names: Sequence[str] | None = None
) -> tuple[ClientState, ...]:
    """Return the state of each client of a practice.

    Args:
        practice: a folder of client folders.
        on: the day on which it is looked at.
        names: the client folders to look at; by default all of them.
    """
    found = []
    for name in client_folders(str(practice)) if names is None else names:
        folder = practice / name
        try:
            client = read_client(folder)
            books = rules_of(folder)
            found.append(client_state(client, check_records(client, books), books, on))
        except MinerError:
            found.append(without_records(folder))
    return tuple(found)


def states_of_caseload(found: Caseload, practice: str) -> tuple[ClientState, ...]:
    """Return the states that a caseload holds, of client folders that commands can name.

    Args:
        found: what ``pool`` found.
        practice: the practice's folder; at an address that is not a folder nothing is returned.
    """
    if is_remote(practice):
        return ()
    states = [row.state for row in found.clients if row.state is not None]
    return tuple(replace(one, folder=str(Path(practice) / one.folder)) for one in states)


def without_records(folder: Path) -> ClientState:
    """Return the state of a client whose records are not there, or cannot be read."""
    if any(any(folder.glob(f"{stream}*")) for stream in STREAMS):
        return ClientState(str(folder), "unreadable")
    asked = questions(read(folder))
    return ClientState(str(folder), "no_records" if asked else "no_questions", count=len(asked))


def client_state(client: Client, report: CheckReport, rules: RuleBook, on: date) -> ClientState:
    """Return the state of a client: the first of what can be done that fits.

    Args:
        client: as read.
        report: the check of these records.
        rules: the rule books.
        on: the day on which it is looked at.

    Raises:
        MinerError: the ledger or the ticks cannot be read.
    """
    book = ledger_of(client).book
    for found in (
        _referral(client, report),
        *_followed(client, report, replay(book), on),
        _too_few(client, report, rules),
        _read_last(client, book),
    ):
        if found is not None:
            return found
    return _ranked(client, report, book)


def _state(client: Client, state: str, of: str = "", days: Sequence[str] = ()) -> ClientState:
    return ClientState(str(client.folder), state, of, tuple(days), len(days))


def _referral(client: Client, report: CheckReport) -> ClientState | None:
    asked = any(
        one.comes_first and one.class_ in ("refer", "agree", "stop") for one in report.cautions
    )
    return _state(client, "refer_first") if asked else None


def _followed(
    client: Client, report: CheckReport, story: FollowupState, on: date
) -> Iterator[ClientState]:
    """Return what is due of what is tested and watched, then what only runs."""
    now_open = story.open_on(report.last_day)
    tests = [plan for item in now_open if (plan := item.plan_open()) is not None]
    watched = [item for item in now_open if item.as_ == "watch"]
    for plan in tests:
        if _reached(report, plan.what.read_on):
            yield _state(client, "test_due", plan.name, [plan.what.read_on])
    due = [item for item in watched if _reached(report, item.what.read_on)]
    if due:
        yield _state(client, "due", due[0].id, [item.what.read_on for item in due])
    ticks, yesterday = read_ticks(client.folder), (on - timedelta(days=1)).isoformat()
    for plan in tests:
        if missing := not_ticked(plan.what.periods, ticks.of(plan.name), yesterday):
            yield _state(client, "tick_missing", plan.name, missing)
    for plan in tests:
        yield _state(client, "testing", plan.name, [plan.what.read_on])
    if watched:
        yield _state(client, "watching", watched[0].id, [item.what.read_on for item in watched])


def _reached(report: CheckReport, day: str) -> bool:
    """Whether the readings have passed a day."""
    last = report.last_day or ""
    return last > day or (last == day and day not in report.not_usable)


def _too_few(client: Client, report: CheckReport, rules: RuleBook) -> ClientState | None:
    lacking = rules.guardrails.fewest_days_to_rank - report.usable_days
    return ClientState(str(client.folder), "too_few", count=lacking) if lacking > 0 else None


def _read_last(client: Client, book: Ledger) -> ClientState | None:
    """Return that a test was read, where nothing was ranked since."""
    ranked = max((event.n for event in named(book, "ranked")), default=0)
    read_since = [
        plan for plan in replay(book).plans if plan.verdict is not None and plan.verdict.n > ranked
    ]
    return _state(client, "tested", read_since[-1].name) if read_since else None


def _ranked(client: Client, report: CheckReport, book: Ledger) -> ClientState:
    """Return what the last ranking of these very records showed."""
    of_these = [
        event
        for event in named(book, "ranked")
        if event.payload.get("records_hash") == client.records_hash
        and event.payload.get("unit") == client.settings.rank_unit
    ]
    if not of_these:
        return _state(client, "not_ranked")
    classes = {one.class_ for one in report.cautions}
    shown = [one for one in of_these[-1].listed("shown") if isinstance(one, dict)]
    clear = [str(one.get("id")) for one in shown if one.get("evidence") == Evidence.CLEAR]
    if "stop" in classes:
        if not clear:
            return _state(client, "no_pattern")
        return replace(_state(client, "no_numbers", clear[0]), typed=number_of(client, clear[0]))
    if "agree" in classes:
        return _state(client, "agreed" if client.settings.clinician.covers else "informed")
    if not clear:
        apart = of_these[-1].listed("not_told_apart")
        return _state(client, "not_told_apart" if apart else "none_clear")
    found = "clear_informed" if "refer" in classes else "clear"
    typed = number_of(client, clear[0])
    return ClientState(str(client.folder), found, clear[0], count=len(clear), typed=typed)
