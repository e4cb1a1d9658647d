"""Ticks next to the plans: days that have none, and ticks that fit no plan or no day of it."""

from __future__ import annotations

from collections.abc import Container, Sequence
from datetime import date

from miner.core.messages import closest
from miner.core.results import Finding, PlanPeriod, Severity
from miner.ledger import PlanKept
from miner.records.findings import Findings
from miner.records.write.ticks import Ticks


def days_of(period: PlanPeriod) -> tuple[str, ...]:
    """Return the days of a period, ISO."""
    first, last = (date.fromisoformat(day).toordinal() for day in (period.first, period.last))
    return tuple(date.fromordinal(day).isoformat() for day in range(first, last + 1))


def not_ticked(
    periods: Sequence[PlanPeriod], ticked: Container[str], until: str
) -> tuple[str, ...]:
    """Return the days of a plan that are over and have no tick, ISO.

    Args:
        periods: of the plan.
        ticked: the days that have one.
        until: the last day that is over.
    """
    days = (day for period in periods for day in days_of(period))
    return tuple(day for day in days if day <= until and day not in ticked)


def misplaced(
    ticks: Ticks, plans: Sequence[PlanKept], own: str | None = None
) -> tuple[Finding, ...]:
    """Return what is wrong with ticks in the light of the plans; none of them is used.

    Args:
        ticks: as read.
        plans: all of the client's ledger.
        own: the one plan whose days are looked at; None for every plan.
    """
    findings = Findings()
    days: dict[str, list[str]] = {}
    for name, day in sorted(ticks.by_day):
        days.setdefault(name, []).append(day)
    known = {plan.name: plan for plan in plans}
    for name in days.keys() - known.keys():
        file, row = ticks.places[name, days[name][0]]
        findings.add(
            Severity.QUESTION,
            "ticks_of_no_plan" if known else "ticks_without_plans",
            file=file,
            row=row,
            count=len(days[name]),
            values={"name": name[:40], "known": list(known), "close": closest(name, known)},
        )
    for name, plan in known.items():
        periods = plan.what.periods
        outside = [
            day
            for day in days.get(name, [])
            if not any(one.first <= day <= one.last for one in periods)
        ]
        if outside and own in (None, name):
            file, row = ticks.places[name, outside[0]]
            first, last = periods[0].first, periods[-1].last
            findings.add(
                Severity.LEFT_OUT,
                "ticks_off_the_plan",
                file=file,
                row=row,
                count=len(outside),
                values={"name": name, "day": outside[0], "first": first, "last": last},
            )
    return findings.sorted()
