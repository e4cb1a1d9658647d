"""How often a kept hypothesis is wrongly said to have held up, read once and looked at every day.

Each diary is an invented month of 28 days with nothing true in it, and 90 days after it. The rule
with the largest t of the month is kept, in the direction it had, and judged on the days after: once
on its 42nd day, and by the every-day reading on each of the 90. The same with a true effect tells
how often and how soon it is found.

A rate is within its limit (5 %, in worlds with something shared that nobody wrote down 9 %) unless
even the least it can be, the lower 99.9 % Clopper-Pearson limit, lies above it; the calibration
of the search is held to the same.

    python -m benchmarks.following --diaries 200 --read 1000
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from benchmarks.calibration.worlds import FIRST_DAY, SPREAD, WORLDS, World, month
from miner import rulebook
from miner.core.period import Period
from miner.followup.following import FIRST_LOOK, LEVEL, compare, every_look, judge
from miner.hypotheses.design import Design, Run, design
from miner.hypotheses.search import search
from miner.hypotheses.tested import Spectra
from miner.ledger import Event, Kept
from miner.rulebook import RuleBook
from miner.stats.effects import expected
from miner.stats.proportions import clopper_pearson

MONTH, AFTER, READ, LEVEL_FROM = 28, 90, 42, 5
SPECTRA: Spectra = {}
RESULTS = Path(__file__).parent / "results" / "following.md"


@dataclass(frozen=True)
class Diary:
    """What was said of one diary: held up at the date; the first look that was clear, or None."""

    held_up: bool
    did_not_hold: bool
    first_clear: int | None


def day(number: int) -> str:
    return str(np.datetime64(FIRST_DAY + number, "D"))


def follow(world: World, rules: RuleBook, seed: int, shift: float, looks: bool) -> Diary | None:
    """Keep the best rule of the first month and judge it on the days after."""
    drawn = month(
        world, rules, days=MONTH + AFTER, factors=15, seed=seed, shift=shift,
        outcomes=("minutes_above", "wake_glucose"),
    )  # fmt: skip
    last = day(MONTH - 1)
    found = search(design(drawn.table, rules, Period(None, last)), "minutes_above", Run(100))
    tests = [
        test for test in found.tests if len(test.rule.items) == 1 and np.isfinite(test.score_t)
    ]
    if shift:
        tests = [t for t in tests if _named(t) == ("late_dinner", "minutes_above")]
    if not tests:
        return None
    item = kept(max(tests, key=lambda test: abs(test.score_t)))
    whole = design(drawn.table, rules, Period(day(MONTH), None))
    at_date = compare(head(whole, READ), item.what, SPECTRA)
    status = judge(item, at_date, []).status
    days = range(FIRST_LOOK, AFTER + 1) if looks else ()
    seen = (
        (str(n), compare(head(whole, n), item.what, SPECTRA)) for n in days
    )  # fmt: skip
    first = every_look(item, seen, 1).reached_on
    return Diary(status == "held_up", status == "did_not_hold", int(first) if first else None)


def head(plan: Design, days: int) -> Design:
    """The first days of a design, with the sensor levels that such a record has."""
    nuisance = plan.nuisance[:days]
    sensor = [name.startswith("sensor") for name in plan.nuisance_names]
    kept_columns = ~np.array(sensor) | (nuisance.sum(axis=0) >= LEVEL_FROM)
    targets = tuple(
        replace(
            target, values=target.values[:days], by_clock=target.by_clock[:days],
            high=target.high[:days],
            items=tuple(replace(item, values=item.values[:days]) for item in target.items),
        )
        for target in plan.targets
    )  # fmt: skip
    return replace(
        plan, names=plan.names[:days], times=plan.times[:days], targets=targets,
        nuisance=nuisance[:, kept_columns],
    )  # fmt: skip


def kept(test) -> Kept:  # type: ignore[no-untyped-def]
    factor, outcome = _named(test)
    rule = test.target.rule
    size = expected(test.difference, test.standard_error, rule.plausible_spread).difference
    payload = {
        "id": "00000000", "as": "watch", "factors": [factor], "outcome": outcome,
        "lag_days": [0], "unit_of": "day", "definitions": {},
        "suggested_by_days_to": "2026-01-31", "read_on": "2026-03-31",
        "direction": "up" if test.difference > 0 else "down", "expected": size,
        "smallest_worth_it": rule.smallest_worth_it, "wobble": SPREAD[outcome],
        "standard_error": test.standard_error, "units": MONTH,
    }  # fmt: skip
    return Kept(Event(1, "", "kept", payload, 1, "", ""))


def _named(test) -> tuple[str, str]:  # type: ignore[no-untyped-def]
    return test.target.items[test.rule.items[0]].factor, test.target.name


def rates(
    world: World, rules: RuleBook, diaries: int, read: int, shift: float = 0.0
) -> dict[str, float]:
    """Return shares of the diaries of one world: all are read once, the first looked at daily."""
    told = [
        (follow(world, rules, 4001 + 31 * at, shift, looks=at < diaries), at < diaries)
        for at in range(read)
    ]
    rows = [item for item, _ in told if item is not None]
    looked = [item for item, daily in told if item is not None and daily]
    clear = [row.first_clear for row in looked if row.first_clear is not None]
    return {
        "diaries": len(rows),
        "looked": len(looked),
        "held_up": float(np.mean([row.held_up for row in rows])),
        "did_not_hold": float(np.mean([row.did_not_hold for row in rows])),
        "every_look": len(clear) / len(looked),
        "median_day": float(np.median(clear)) if clear else float("nan"),
    }


def limited(share: float, diaries: int, limit: float) -> str:
    """Return a rate in 100 with the least it can be; one beyond its limit is marked."""
    low = clopper_pearson(round(share * diaries), diaries, 0.998)[0]
    return f"{100 * share:.1f} ({100 * low:.1f}){' **over**' if low > limit else ''}"


def nothing_true(name: str, world: World, row: dict[str, float]) -> str:
    """Return a line of the table of worlds in which nothing is true."""
    number, looked = int(row["diaries"]), int(row["looked"])
    limit = 0.09 if world.confounded else LEVEL
    mark = " (confounded)" if world.confounded else ""
    return (
        f"| {name}{mark} | {100 * limit:g} | {number} | {limited(row['held_up'], number, limit)} | "
        f"{100 * row['did_not_hold']:.1f} | {looked} | "
        f"{limited(row['every_look'], looked, limit)} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=200, help="looked at every day")
    parser.add_argument("--read", type=int, default=1000, help="read once, these among them")
    parser.add_argument("--only")
    chosen = parser.parse_args()
    rules = rulebook.load()
    lines = [
        "# Kept and followed", "",
        f"`python -m benchmarks.following --diaries {chosen.diaries} --read {chosen.read}`", "",
        f"Nothing true: share of diaries (of 100) wrongly called held up on day {READ}, and called",
        f"clear at any of the looks from day {FIRST_LOOK} to day {AFTER}, one look a day. In",
        "brackets the least each rate can be (99.9 %); **over** would mark one whose least is",
        "beyond its limit.", "",
        "| world | limit | read once | held up | did not hold | looked at daily | clear |",
        "|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    for name, world in WORLDS.items():
        if chosen.only in (None, name):
            lines.append(
                nothing_true(name, world, rates(world, rules, chosen.diaries, chosen.read))
            )
            print(lines[-1], flush=True)
    lines += [
        "", "True effects: found on the one date, found by the 90th day of daily looks, and the",
        "median day on which it was.", "",
        "| world, shift in SD | held up | clear | median day | did not hold |",
        "|---|---|---|---|---|",
    ]  # fmt: skip
    for name in ("independent", "persistent"):
        for shift in (0.8, 1.4):
            if chosen.only not in (None, name):
                continue
            some = max(chosen.diaries // 3, 20)
            row = rates(WORLDS[name], rules, some, some, shift)
            lines.append(
                f"| {name}, {shift} | {100 * row['held_up']:.0f} | {100 * row['every_look']:.0f} | "
                f"{row['median_day']:.0f} | {100 * row['did_not_hold']:.0f} |"
            )
            print(lines[-1], flush=True)
    if chosen.only is None:
        RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
