"""A plan as a page to print: every day with its letter and a box to tick."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from miner.core.results import Plan
from miner.render.figures.inline import Styles
from miner.render.page import fill
from miner.rulebook import RuleBook
from miner.words.plan import LETTERS, beside
from miner.words.wording import DAYS, client_always, day_and_month, full_date, say


@dataclass(frozen=True, slots=True)
class Square:
    """One day of the page: its date, its letter (none on a free day), whether it counts."""

    day: str
    letter: str
    counts: bool
    sensor: bool


def plan_page(plan: Plan, rules: RuleBook) -> str:
    """Return a page without numbers of the client: what to do, when, and where to tick.

    Args:
        plan: what ``plan`` returned.
        rules: the rule books, for the words.
    """
    return fill(
        "plan.html",
        Styles(),
        plan=plan.plan,
        first=full_date(plan.periods[0].first),
        last=full_date(plan.periods[-1].last),
        change=plan.change,
        usual=say(rules, "plan", "usual_short"),
        lines=_lines(plan, rules),
        caption=say(rules, "plan", "tick"),
        names=DAYS,
        weeks=weeks(plan),
        stop_rules=plan.stop_rules,
        always=client_always(rules),
    )


def _lines(plan: Plan, rules: RuleBook) -> list[str]:
    free = any(not square.letter and not square.sensor for square in _squares(plan).values())
    return [*beside(plan, rules), *([say(rules, "plan", "free")] if free else [])]


def weeks(plan: Plan) -> tuple[tuple[Square | None, ...], ...]:
    """Return the days of a plan by week, Monday first; None outside the plan."""
    days = _squares(plan)
    first, last = min(days), max(days)
    at = first - timedelta(days=first.weekday())
    found = []
    while at <= last:
        found.append(tuple(days.get(at + timedelta(days=k)) for k in range(7)))
        at += timedelta(days=7)
    return tuple(found)


def _squares(plan: Plan) -> dict[date, Square]:
    out = {}
    for period in plan.periods:
        first, last = date.fromisoformat(period.first), date.fromisoformat(period.last)
        for k in range((last - first).days + 1):
            day = first + timedelta(days=k)
            out[day] = Square(_short(day), LETTERS[period.arm], k >= period.leave_out_days, False)
    for text in plan.sensor_changes:
        day = date.fromisoformat(text)
        out.setdefault(day, Square(_short(day), "", False, True))
    for number in range(min(out).toordinal(), max(out).toordinal()):
        day = date.fromordinal(number)
        out.setdefault(day, Square(_short(day), "", False, False))
    return out


def _short(day: date) -> str:
    return day_and_month(day.isoformat(), short=True)
