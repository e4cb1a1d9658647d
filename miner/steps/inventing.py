"""Practices that are invented: the demo, and as many clients as are asked for."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from miner.caseload.running import Pace, Progress
from miner.core import resources
from miner.core.files import whole_file, write_whole
from miner.core.results import Plan
from miner.followup.planning import Wish
from miner.records import read_client
from miner.records.client import STREAMS
from miner.steps.fixing import fix_question
from miner.steps.following import follow, result
from miner.steps.keeping import keep, plan
from miner.steps.ranking import rank
from miner.steps.ticking import Ticking, days_over, tick

PATTERN = (("short_sleep",), "wake_glucose")
QUESTIONS = (
    ("short_sleep", "wake_glucose", "up"),
    ("late_dinner", "overnight_mean", "up"),
    ("walk_after_dinner", "overnight_mean", "down"),
)
RANKED = ("nothing", "together", "referred", "insulin", "informed", "no_numbers")
"""Clients whose records were ranked before the practice is looked at."""
MORNING = time(0, 30, tzinfo=UTC)
ONE = timedelta(days=1)


def write_demo(folder: Path, today: date) -> Path:
    """Write a practice at work today; return the folder of the client who is ready for a session.

    Every client is in another state of the job, brought there by the steps themselves.

    Args:
        folder: the practice's folder.
        today: the day it is looked at; its records end on the day before.
    """
    invented = resources.invented()
    clients = invented.living_scenarios(today)
    truth = invented.write_practice(folder, tuple(clients.values()))
    _ask(folder / clients["no_records"].code, today - ONE)
    for state in RANKED:
        rank(read_client(folder / clients[state].code), remember=True, now=_at(today))
    goes_on = [
        _watch(folder, clients["due"], today),
        _test(folder, clients["testing"], missing=3)[1],
    ]
    plan_read, whole = _test(folder, clients["tested"])
    result(read_client(folder / clients["tested"].code), plan_read.plan, now=_at(today))
    truth["clients"] |= {one["client"]: one for one in (*goes_on, whole)}
    write_whole(folder / "truth.json", json.dumps(truth, indent=1) + "\n", durable=False)
    return Path(folder / clients["ready"].code)


def _at(day: date) -> datetime:
    return datetime.combine(day, MORNING)


def _ask(folder: Path, day: date) -> None:
    """Write down questions of a client who has no records yet."""
    for factor, outcome, guess in QUESTIONS:
        fix_question(folder, factor, outcome, guess=guess, now=_at(day))
    for stream in STREAMS:
        (folder / f"{stream}.csv").unlink()


def _found(folder: Path, day: date) -> str:
    """Rank the records there are so far, and return the pattern's ID."""
    ranking = rank(read_client(folder), remember=True, now=_at(day))
    return next(one.id for one in ranking.hypotheses if (one.factors, one.outcome) == PATTERN)


def _watch(practice: Path, scenario: Any, today: date) -> Mapping[str, Any]:
    """Keep the pattern of a first month, to be read today; return what is true of the client."""
    folder, day = practice / scenario.code, scenario.last_day + ONE
    keep(read_client(folder), _found(folder, day), "watch", read_on=today - 2 * ONE, now=_at(day))
    return _write_whole(folder, replace(scenario, recorded_days=None))


def _test(practice: Path, scenario: Any, *, missing: int = 0) -> tuple[Plan, Mapping[str, Any]]:
    """Plan a test of the pattern of a first month, and let the client do what was agreed.

    Args:
        practice: the practice's folder.
        scenario: the client, with the days of the test still ahead.
        missing: which tick from the last is not there, or 0.

    Returns:
        the plan, and what is true of the client.
    """
    folder, day = practice / scenario.code, scenario.last_day + ONE
    id_ = _found(folder, day)
    keep(read_client(folder), id_, "alternate", now=_at(day))
    made = plan(read_client(folder), id_, Wish(day, length="middle"), now=_at(day))
    arms = _arms(made)
    nights = {date.fromisoformat(told) + ONE: arm == "usual" for told, arm in arms.items()}
    last = scenario.start + ONE * scenario.days
    lived = {night: short for night, short in nights.items() if night <= last}
    later = replace(scenario, recorded_days=None, followed={"short_sleep": lived})
    truth = _write_whole(folder, later)
    told = [each for each in sorted(arms) if date.fromisoformat(each) <= last]
    if missing:
        del told[-missing]
    _tick(folder, made.plan, told, _at(last + ONE))
    follow(read_client(folder), remember=True, now=_at(last + ONE))
    return made, truth


def _write_whole(folder: Path, scenario: Any) -> Mapping[str, Any]:
    truth: Mapping[str, Any] = resources.invented().write_client(folder, scenario)
    return truth


def _arms(made: Plan) -> Mapping[str, str]:
    """Return the arm of each day of a plan."""
    return {
        (date.fromisoformat(one.first) + k * ONE).isoformat(): one.arm
        for one in made.periods
        for k in range(made.period_days)
    }


def _tick(folder: Path, plan: str, days: list[str], now: datetime) -> None:
    """Note that on these days what was planned was done."""
    what = Ticking(plan, tuple((day, day, "yes") for day in days))
    tick(folder, what, days_over(now.date()), now=now)


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
