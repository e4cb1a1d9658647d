"""The ticks of a plan that somebody notes: shown day by day, written whole or not at all."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from miner import ledger
from miner.core.files import safe_cell, write_whole
from miner.core.messages import MinerError
from miner.core.results import Plan, PlanPeriod, Severity
from miner.followup.ticked import misplaced
from miner.ledger import replay
from miner.records.write.settings_file import WRITING, require_stamp
from miner.records.write.ticks import ANSWERS, Ticks, tick_files, ticks_in


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


def sheet_of(own: Path, plan: Plan, until: str) -> list[tuple[PlanPeriod, list[TickDay]]]:
    """Return the periods of a plan, each with its days and what is noted of them.

    Args:
        own: the file of what is noted here, beside the client's other files of ticks.
        plan: as it was written.
        until: ISO date of the last day that is over.

    Raises:
        MinerError: a file of ticks cannot be read.
    """
    noted, others = _noted(own).of(plan.plan), ticks_in(_others(own))

    def told(day: str) -> TickDay:
        said = others.by_day.get((plan.plan, day), "")
        elsewhere = said if said in ("yes", "no") else ""
        file = others.places[plan.plan, day][0] if elsewhere else ""
        return TickDay(day, noted.get(day, ""), elsewhere, file, day <= until)

    return [(period, [told(day) for day in _days(period)]) for period in plan.periods]


def write_ticks(
    own: Path, plan: Plan, answers: Mapping[str, str], until: str, seen: str | None = None
) -> None:
    """Write answers into the file of what is noted here; a day without one keeps what it has.

    Args:
        own: the file, beside the client's other files of ticks.
        plan: as it was written.
        answers: ISO date -> "yes", "no", "forgot", or nothing to take an answer back.
        until: ISO date; no day after it has an answer.
        seen: the stamp of the file that a form showed, or None.

    Raises:
        MinerError: an answer is none of these, or of a day that is not over or not the plan's;
            another file says otherwise; or the file is another than the form showed.
    """
    _require_usable(plan, answers, until)
    with WRITING:
        require_stamp(own, seen)
        rows = dict(_noted(own).by_day)
        for day, said in answers.items():
            rows.pop((plan.plan, day), None)
            if said:
                rows[plan.plan, day] = said
        _require_readable(own, _written(rows))
        write_whole(own, _written(rows))


def _require_usable(plan: Plan, answers: Mapping[str, str], until: str) -> None:
    days = [day for period in plan.periods for day in _days(period)]
    for day, said in answers.items():
        if said not in ("", *ANSWERS):
            raise MinerError("page.no_answer", answer=said[:20])
        if day not in days:
            raise MinerError("page.no_day_of_plan", day=day[:20], first=min(days), last=max(days))
    late = min((day for day, said in answers.items() if said and day > until), default="")
    if late:
        raise MinerError("page.day_not_over", late=late, until=until)


def _require_readable(own: Path, content: bytes) -> None:
    """Read what would be written beside all other files of ticks, in the light of the plans."""
    with tempfile.TemporaryDirectory() as scratch:
        trial = Path(scratch) / own.name
        write_whole(trial, content, durable=False)
        ticks = ticks_in([*_others(own), trial])
    plans = replay(ledger.read(own.parent)).plans
    for found in (*ticks.findings, *misplaced(ticks, plans)):
        if found.file == own.name and found.severity in (Severity.LEFT_OUT, Severity.QUESTION):
            what, expected, do = found.what, found.expected, found.do
            raise MinerError("page.finding", found=what, expected=expected, do=do)


def _noted(own: Path) -> Ticks:
    """Return what was noted here.

    Raises:
        MinerError: somebody else wrote into the file what would be lost by writing it again.
    """
    ticks = ticks_in([own] if own.is_file() else [])
    if own.is_file() and own.read_bytes() != _written(ticks.by_day):
        raise MinerError("page.ticks_changed_by_hand", file=own.name)
    return ticks


def _others(own: Path) -> list[Path]:
    return [path for path in tick_files(own.parent) if path.name != own.name]


def _written(rows: Mapping[tuple[str, str], str]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("date", "plan", "answer"))
    writer.writerows((day, safe_cell(plan), said) for (plan, day), said in sorted(rows.items()))
    return out.getvalue().encode()


def _days(period: PlanPeriod) -> list[str]:
    first, last = (date.fromisoformat(day).toordinal() for day in (period.first, period.last))
    return [date.fromordinal(day).isoformat() for day in range(first, last + 1)]
