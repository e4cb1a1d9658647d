"""The demo: an invented practice at work today, with a client in every state of the job."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from miner.core import resources
from miner.core.files import write_whole
from miner.core.results import Plan
from miner.followup.planning import Wish
from miner.records import read_client
from miner.steps.fixing import fix_question
from miner.steps.following import follow, result
from miner.steps.keeping import keep, plan
from miner.steps.ranking import rank

PATTERN = (("short_sleep",), "wake_glucose")
QUESTIONS = (
    ("short_sleep", "wake_glucose", "up"),
    ("late_dinner", "overnight_mean", "up"),
    ("walk_after_dinner", "overnight_mean", "down"),
)
MORNING = time(7, 30, tzinfo=UTC)


def write_demo(folder: Path, today: date) -> Path:
    """Write the practice and return the folder of the client who is ready for a session.

    Args:
        folder: the practice's folder.
        today: the day it is looked at; its records end on the day before.
    """
    invented = resources.invented()
    clients = invented.living_scenarios(today)
    invented.write_practice(folder, tuple(clients.values()))
    _ask(folder / clients["no_records"].code, today - timedelta(days=1))
    _watch(folder, clients["due"], today)
    _test(folder, clients["testing"], missing=3)
    plan_read = _test(folder, clients["tested"], missing=0)
    tested = read_client(folder / clients["tested"].code)
    result(tested, plan_read.plan, now=_at(today))
    return Path(folder / clients["ready"].code)


def _at(day: date) -> datetime:
    return datetime.combine(day, MORNING)


def _ask(folder: Path, day: date) -> None:
    """Write down questions of a client who has no records yet."""
    for factor, outcome, guess in QUESTIONS:
        fix_question(folder, factor, outcome, guess=guess, now=_at(day))
    for stream in ("glucose", "sleep", "stress", "activity", "meals", "tags"):
        (folder / f"{stream}.csv").unlink()


def _found(folder: Path, day: date) -> str:
    """Rank the records there are so far, and return the pattern's ID."""
    ranking = rank(read_client(folder), remember=True, now=_at(day))
    return next(one.id for one in ranking.hypotheses if (one.factors, one.outcome) == PATTERN)


def _watch(practice: Path, scenario: Any, today: date) -> None:
    """Keep the pattern of a first month, to be read today."""
    folder, day = practice / scenario.code, scenario.last_day + timedelta(days=1)
    keep(read_client(folder), _found(folder, day), "watch", read_on=today - 2 * ONE, now=_at(day))
    resources.invented().write_client(folder, replace(scenario, recorded_days=None))


ONE = timedelta(days=1)


def _test(practice: Path, scenario: Any, *, missing: int) -> Plan:
    """Plan a test of the pattern of a first month, and let the client do what was agreed.

    Args:
        practice: the practice's folder.
        scenario: the client, with the days of the test still ahead.
        missing: which tick from the last is not there, or 0.
    """
    folder, day = practice / scenario.code, scenario.last_day + ONE
    id_ = _found(folder, day)
    keep(read_client(folder), id_, "alternate", now=_at(day))
    wish = Wish(scenario.last_day + ONE, length="middle")
    made = plan(read_client(folder), id_, wish, now=_at(day))
    done = _asked_for(made)
    nights = {
        date.fromisoformat(told) + ONE: False for told, arm in done.items() if arm == "change"
    }
    lived = {day: no for day, no in nights.items() if day <= scenario.start + ONE * scenario.days}
    later = replace(scenario, recorded_days=None, followed={"short_sleep": lived})
    resources.invented().write_client(folder, later)
    told = [each for each in sorted(done) if date.fromisoformat(each) < later.last_day]
    if missing:
        del told[-missing]
    _tick(folder, made.plan, told)
    follow(read_client(folder), remember=True, now=_at(later.last_day + ONE))
    return made


def _asked_for(made: Plan) -> Mapping[str, str]:
    """Return the arm of each day of a plan."""
    return {
        (date.fromisoformat(one.first) + k * ONE).isoformat(): one.arm
        for one in made.periods
        for k in range(made.period_days)
    }


def _tick(folder: Path, plan: str, days: list[str]) -> None:
    """Note that on these days what was planned was done."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("date", "plan", "answer"))
    writer.writerows((day, plan, "yes") for day in days)
    write_whole(folder / "ticks.csv", out.getvalue().encode())
