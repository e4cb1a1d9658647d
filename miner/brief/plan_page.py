"""A plan as a page to print: every day with its letter and a box to tick."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from miner.brief.plan_calendar import LETTERS
from miner.brief.text.plan import what_to_do
from miner.results import Plan
from miner.rulebook import RuleBook

TEMPLATE = "plan_page.html.j2"


@dataclass(frozen=True, slots=True)
class Square:
    """One day of the page: its date in words, its letter, whether it counts."""

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
    from jinja2 import Environment, PackageLoader, StrictUndefined

    home = Environment(
        loader=PackageLoader("miner.brief", "."), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return home.get_template(TEMPLATE).render(
        plan=plan, lines=what_to_do(plan, rules), weeks=weeks(plan),
        always=rules.cautions.client_always,
    )  # fmt: skip


def weeks(plan: Plan) -> list[list[Square | None]]:
    """Return the days of a plan by week, Monday first; None outside the plan."""
    days = _squares(plan)
    first, last = min(days), max(days)
    at = first - timedelta(days=first.weekday())
    out = []
    while at <= last:
        out.append([days.get(at + timedelta(days=k)) for k in range(7)])
        at += timedelta(days=7)
    return out


def _squares(plan: Plan) -> dict[date, Square]:
    out = {}
    for period in plan.periods:
        first, last = date.fromisoformat(period.first), date.fromisoformat(period.last)
        for k in range((last - first).days + 1):
            day = first + timedelta(days=k)
            counts = k >= period.leave_out_days
            out[day] = Square(day.strftime("%d.%m."), LETTERS[period.arm], counts, False)
    for text in plan.sensor_changes:
        day = date.fromisoformat(text)
        out.setdefault(day, Square(day.strftime("%d.%m."), "", False, True))
    return out
