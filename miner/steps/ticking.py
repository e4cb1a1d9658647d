"""What the client ticked of a plan, noted by the practitioner: one day, or all as planned."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from filelock import Timeout

from miner import ledger
from miner.core.files import lock, write_whole
from miner.core.messages import MinerError, closest
from miner.core.results import Plan, PlanPeriod, Severity
from miner.core.results.noting import NotTicked, TicksMade
from miner.followup.ticked import days_of, misplaced, not_ticked
from miner.ledger import PlanKept, replay
from miner.records.write.settings_file import WRITING, require_stamp
from miner.records.write.ticks import (
    ANSWERS,
    NOTED,
    NotedTick,
    noted_bytes,
    read_noted,
    read_ticks,
    tick_files,
    ticks_in,
)
from miner.rulebook import RuleBook
from miner.tables.columns import DAY, iso_day, stamps
from miner.tables.day_review import TOLERANCE
from miner.tables.measures import DayRecords

LOCK = ".notes.lock"


@dataclass(frozen=True, slots=True)
class DaysOver:
    """Up to which day something can be ticked, ISO.

    Attributes:
        told: the last day that may have an answer: today, or the newest day of the records.
        whole: the last day that is over: yesterday, or the newest whose end the readings reach.
    """

    told: str
    whole: str


def days_over(today: date, records: DayRecords | None = None) -> DaysOver:
    """Return up to which day something can be ticked.

    Args:
        today: by the clock.
        records: the client's records by day, where they can be read.
    """
    yesterday = (today - timedelta(days=1)).isoformat()
    if records is None or not len(records.days):
        return DaysOver(today.isoformat(), yesterday)
    whole = max(yesterday, last_whole_day(records) or "")
    return DaysOver(max(today.isoformat(), records.days.names[-1]), whole)


@dataclass(frozen=True, slots=True)
class TickDay:
    """One day of a plan in the form.

    Attributes:
        day: ISO date.
        said: what was noted here, or nothing.
        elsewhere: the answer another file gives, or nothing.
        file: that file.
        over: whether the day may be answered yet.
    """

    day: str
    said: str
    elsewhere: str
    file: str
    over: bool


def sheet_of(folder: Path, plan: Plan, until: str) -> list[tuple[PlanPeriod, list[TickDay]]]:
    """Return the periods of a plan, each with its days and what is noted of them.

    Args:
        folder: the client's folder.
        plan: as it was written.
        until: ISO date of the last day that may be answered.

    Raises:
        MinerError: a file of ticks cannot be read.
    """
    noted, others = _standing(read_noted(folder)), ticks_in(_others(folder))

    def told(day: str) -> TickDay:
        said = others.by_day.get((plan.plan, day), "")
        elsewhere = said if said in ("yes", "no") else ""
        file = others.places[plan.plan, day][0] if elsewhere else ""
        return TickDay(day, noted.get((plan.plan, day), ""), elsewhere, file, day <= until)

    return [(period, [told(day) for day in days_of(period)]) for period in plan.periods]


@dataclass(frozen=True, slots=True)
class Ticking:
    """What is to be ticked.

    Attributes:
        plan: its name; None for the one that is open.
        spans: first and last day, ISO, and "yes", "no", "forgot", or nothing to take an answer
            back; days between two periods are passed over.
        rest: whether every other day that is over and has no tick was done as planned.
    """

    plan: str | None = None
    spans: tuple[tuple[str, str, str], ...] = ()
    rest: bool = False


def tick(
    folder: Path,
    what: Ticking,
    over: DaysOver,
    *,
    seen: str | None = None,
    now: datetime | None = None,
) -> TicksMade:
    """Note what the client ticked: all of it, or nothing; a day that is not named keeps its tick.

    Args:
        folder: the client's folder.
        what: the plan and the answers.
        over: up to which day something can be ticked.
        seen: the stamp of the file that a form showed, or None.
        now: when it was noted; by default the clock's.

    Raises:
        MinerError: no plan is meant or several are; an answer is none, or of a day that is not
            over or not the plan's; another file says otherwise; or the file is another than the
            form showed.
    """
    plan = _plan(folder, what.plan)
    named = _answers(plan, what.spans, over.told)
    with WRITING, writing(folder):
        require_stamp(folder / NOTED, seen)
        held, ticked = read_noted(folder), read_ticks(folder).of(plan.name)
        open_days = not_ticked(plan.what.periods, ticked, over.whole) if what.rest else ()
        planned = [day for day in open_days if day not in named]
        answers = named | dict.fromkeys(planned, "yes")
        own = {day: said for (name, day), said in _standing(held).items() if name == plan.name}
        changed = {day: said for day, said in answers.items() if own.get(day, "") != said}
        at = entered(now, timespec="milliseconds")
        rows = [NotedTick(day, plan.name, said, at) for day, said in sorted(changed.items())]
        if rows:
            _require_as_elsewhere(folder, rows)
            _require_readable(folder, noted_bytes([*held, *rows]))
            write_whole(folder / NOTED, noted_bytes([*held, *rows]))
        left = not_ticked(plan.what.periods, read_ticks(folder).of(plan.name), over.whole)
        return TicksMade(
            plan=plan.name,
            noted=at if rows else "",
            answers={row.day: row.answer for row in rows},
            as_planned=len(planned),
            already=len([day for day in ticked if day <= over.whole and day not in changed]),
            left=len(left),
        )


def last_ticks(folder: Path, plan: str | None = None) -> tuple[NotedTick, ...]:
    """Return the answers that were noted last, all at one time; none where there are none.

    Args:
        folder: the client's folder.
        plan: of this plan alone.

    Raises:
        MinerError: the file was changed by hand.
    """
    held = [one for one in read_noted(folder) if plan in (None, one.plan) and one.noted]
    return tuple(one for one in held if one.noted == held[-1].noted)


def take_back_ticks(folder: Path, plan: str | None = None, *, seen: str | None = None) -> TicksMade:
    """Take back the answers that were noted last.

    Args:
        folder: the client's folder.
        plan: of this plan alone.
        seen: the stamp of the file that a form showed, or None.

    Raises:
        MinerError: there are none, or the file was changed by hand, or is another than the form
            showed.
    """
    with WRITING, writing(folder):
        require_stamp(folder / NOTED, seen)
        last = last_ticks(folder, plan)
        if not last:
            raise MinerError("steps.nothing_to_take_back")
        rest = [one for one in read_noted(folder) if one not in last]
        write_whole(folder / NOTED, noted_bytes(rest))
        answers = {one.day: one.answer for one in last}
        return TicksMade(last[0].plan, last[0].noted, answers, taken_back=True)


def _plan(folder: Path, name: str | None) -> PlanKept:
    """Return the plan that is meant: the one that is open where none is named."""
    story = replay(ledger.read(folder))
    if name is not None:
        found = story.plan(name)
        if found is None:
            known = [one.name for one in story.plans]
            code = "steps.no_plan_to_read" if known else "steps.no_plan_written"
            raise MinerError(code, name=name[:40], known=known, close=closest(name, known))
        return found
    running = open_plans(folder)
    if not running:
        raise MinerError("steps.no_plan_open")
    if len(running) > 1:
        raise MinerError("steps.plans_open", names=[one.name for one in running])
    return running[0]


def asleep_from(records: DayRecords, plan: Plan, rules: RuleBook) -> dict[str, str]:
    """Return when the client fell asleep on the evening of each day, HH:MM, where it is recorded.

    Nothing where the habit of the plan is not one of sleep.

    Args:
        records: the client's records by day.
        plan: as it was written.
        rules: the rule books.

    Raises:
        MinerError: the habit is in no rule book.
    """
    if rules.factor(plan.factor, plan.unit_of).stream != "sleep":
        return {}
    asleep = {}
    for name, night in zip(records.days.names, records.days.night, strict=True):
        if night is not None:
            evening = date.fromisoformat(name) - timedelta(days=plan.offset_days)
            start = stamps(np.array(night.episodes[0].start_clock, dtype=np.int64))
            asleep[evening.isoformat()] = str(start.astype("datetime64[m]"))[11:]
    return asleep


def days_not_ticked(folder: Path, until: str | None) -> tuple[NotTicked, ...]:
    """Return, of each test that is running, the days that are over and have no tick.

    Args:
        folder: the client's folder.
        until: ISO date of the last day that is over; None where there is none.

    Raises:
        MinerError: the ledger or a file of ticks cannot be read.
    """
    running = open_plans(folder)
    ticks = read_ticks(folder) if running and until else None
    if ticks is None or until is None:
        return ()
    found = ((one.name, not_ticked(one.what.periods, ticks.of(one.name), until)) for one in running)
    return tuple(NotTicked(name, days) for name, days in found if days)


def last_whole_day(records: DayRecords) -> str | None:
    """Return the newest date whose midnight the readings reach, ISO; a plan asks by date."""
    if not records.trace.clock.size:
        return None
    reached = int(records.trace.clock[-1]) + TOLERANCE
    return iso_day(reached // DAY - 1)


def open_plans(folder: Path) -> tuple[PlanKept, ...]:
    """Return the plans that are open, in the order they were kept.

    Raises:
        MinerError: the ledger cannot be read.
    """
    found = (item.plan_open() for item in replay(ledger.read(folder)).open_on(None))
    return tuple(plan for plan in found if plan is not None)


def _answers(plan: PlanKept, spans: Sequence[tuple[str, str, str]], until: str) -> dict[str, str]:
    """Return the answer of each day that is named, by ISO date."""
    days = [day for period in plan.what.periods for day in days_of(period)]
    answers: dict[str, str] = {}
    for first, last, said in spans:
        if said not in ("", *ANSWERS):
            raise MinerError("steps.no_answer", answer=said[:20])
        outside = next((day for day in (first, last) if day not in days), None)
        if outside is not None:
            told: dict[str, Any] = {"first": min(days), "last": max(days), "name": plan.name}
            raise MinerError("steps.no_day_of_plan", day=outside[:20], **told)
        if first > last:
            raise MinerError("steps.span_backwards", first=first, last=last)
        for day in (one for one in days if first <= one <= last):
            if day in answers:
                raise MinerError("steps.ticked_twice", day=day)
            answers[day] = said
    late = min((day for day, said in answers.items() if said and day > until), default="")
    if late:
        raise MinerError("steps.day_not_over", late=late, until=until)
    return answers


def _require_as_elsewhere(folder: Path, rows: Sequence[NotedTick]) -> None:
    others = ticks_in(_others(folder))
    for one in rows:
        said = others.by_day.get((one.plan, one.day), one.answer)
        if {said, one.answer} == {"yes", "no"}:
            file, row = others.places[one.plan, one.day]
            raise MinerError("steps.ticked_elsewhere", file=file, row=row, day=one.day, said=said)


def _require_readable(folder: Path, content: bytes) -> None:
    """Read what would be written next to all other files of ticks, in the light of the plans."""
    with tempfile.TemporaryDirectory() as scratch:
        trial = Path(scratch) / NOTED
        write_whole(trial, content, durable=False)
        ticks = ticks_in([*_others(folder), trial])
    plans = replay(ledger.read(folder)).plans
    for found in (*ticks.findings, *misplaced(ticks, plans)):
        if found.file == NOTED and found.severity in (Severity.LEFT_OUT, Severity.QUESTION):
            what, expected, do = found.what, found.expected, found.do
            raise MinerError("page.finding", found=what, expected=expected, do=do)


def _standing(ticks: Sequence[NotedTick]) -> dict[tuple[str, str], str]:
    """Return what is noted now: (plan, ISO date) -> the answer."""
    last = {(one.plan, one.day): one.answer for one in ticks}
    return {key: said for key, said in last.items() if said}


def _others(folder: Path) -> list[Path]:
    return [path for path in tick_files(folder) if path.name != NOTED]


def entered(now: datetime | None, *, timespec: str = "seconds") -> str:
    """Return when something is noted, ISO 8601 in UTC."""
    return (now or datetime.now(UTC)).astimezone(UTC).isoformat(timespec=timespec)


@contextmanager
def writing(folder: Path) -> Iterator[None]:
    """Let one program at a time write what is noted of a client.

    Raises:
        MinerError: another does, or the folder cannot be written.
    """
    try:
        with lock(folder / LOCK, wait_s=10):
            yield
    except Timeout as error:
        raise MinerError("steps.writing_elsewhere", file=folder) from error
    except OSError as error:
        raise MinerError(
            "steps.not_writable", why=error.strerror or str(error), file=folder
        ) from error
