"""What the sleep-and-activity tracker recorded: sleep, stress, activity."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .habits import Flags, Floats
from .nights import DAY
from .scenario import Scenario
from .tables import Table, in_zone, iso, table, whole, within
from .world import World

SLEEP = (
    "start",
    "end",
    "asleep_min",
    "deep_min",
    "rem_min",
    "light_min",
    "awake_min",
    "awakenings",
    "kind",
)
ACTIVITY = ("start", "end", "kind", "intensity", "steps")
HARD = np.array(["running", "cycling", "strength"])


@dataclass(frozen=True, slots=True)
class Episodes:
    """Episodes of one kind: row, start and length in minutes."""

    row: NDArray[np.int64]
    start: Floats
    length: Floats


def taken_off(world: World) -> Flags:
    """Return the rows on which the tracker lay in a drawer: nothing of them is recorded."""
    draws = world.scenario.generator("tracker off").random(len(world.rest))
    off: Flags = draws < 0.04
    return off


def _whole(scenario: Scenario) -> Scenario:
    """Return the scenario with every day recorded, so that later days change no earlier one."""
    return replace(scenario, recorded_days=None)


def sleep_table(world: World) -> Table:
    """Return main sleeps with stages, and a few naps; the night after a day off is missing."""
    scenario, nights, n = world.scenario, world.nights, len(world.rest)
    rng = scenario.generator("stages")
    deep = np.round(nights.asleep * np.clip(rng.normal(0.17, 0.03, n), 0.06, 0.28))
    rem = np.round(nights.asleep * np.clip(rng.normal(0.22, 0.03, n), 0.1, 0.32))
    light = nights.asleep - deep - rem
    times = 1 + rng.poisson(nights.awake / 14.0)
    naps = rng.random(n) < 0.06
    at, length = rng.uniform(810.0, 860.0, n), np.round(rng.uniform(15.0, 40.0, n))
    on = ~taken_off(world)
    slept = np.concatenate([[False], on[:-1]]) & within(scenario, np.maximum(nights.wake, DAY))
    span = in_zone(scenario, nights.wake) - in_zone(scenario, nights.bed)
    whole_night = span == (nights.wake - nights.bed).astype("timedelta64[m]")
    main = np.flatnonzero(slept & whole_night)
    midnight = np.arange(n) * float(DAY)
    nap = np.flatnonzero(naps & on & within(_whole(scenario), midnight))[:-1]
    nap = nap[within(scenario, midnight[nap])]
    nothing = np.full(len(nap), np.nan)
    start = np.concatenate([nights.bed[main], np.round(nap * DAY + at[nap])])
    end = np.concatenate([nights.wake[main], np.round(nap * DAY + at[nap]) + length[nap]])
    numbers = [
        whole(np.concatenate([values[main], nothing]))
        for values in (deep, rem, light, nights.awake, times.astype(np.float64))
    ]
    asleep = whole(np.concatenate([nights.asleep[main], length[nap]]))
    kind = ["main"] * len(main) + ["nap"] * len(nap)
    found = table(SLEEP, iso(scenario, start), iso(scenario, end), asleep, *numbers, kind)
    return Table(found.columns, sorted(found.rows))


def stress_episodes(world: World) -> tuple[Episodes, Floats]:
    """Return episodes of stress and their level, 50 to 95.

    Days with much stress hold 130 to 195 minutes in three episodes of uneven length, other days
    at most 114 minutes in up to three.
    """
    rng = world.scenario.generator("stress")
    n = len(world.rest)
    much = world.happened["much_stress"]
    parts = rng.exponential(size=(3, n)) + 0.15
    long = rng.uniform(130.0, 195.0, n) * parts / parts.sum(axis=0)
    short = np.where(rng.random((3, n)) < 0.4, rng.uniform(12.0, 37.0, (3, n)), 0.0)
    length = np.ceil(np.where(much, long, short))
    begins = np.array([[8 * 60 + 20.0], [13 * 60 + 30.0], [18 * 60 + 20.0]])
    start = np.arange(n) * float(DAY) + begins + np.round(rng.uniform(0.0, 45.0, (3, n)))
    level = np.round(rng.uniform(50.0, 95.0, (3, n)))
    rows = np.broadcast_to(np.arange(n), (3, n))
    keep = (length >= 10.0) & ~taken_off(world) & within(world.scenario, start)
    order = np.argsort(start[keep], kind="stable")
    found = Episodes(rows[keep][order], start[keep][order], length[keep][order])
    return found, level[keep][order]


def stress_table(world: World) -> Table:
    """Return the episodes of stress."""
    found, level = stress_episodes(world)
    start, end = iso(world.scenario, found.start), iso(world.scenario, found.start + found.length)
    return table(("start", "end", "level"), start, end, whole(level))


def activity_table(world: World) -> Table:
    """Return walks, hard exercise, and one row a day that holds its steps (kind ``steps``)."""
    scenario, n = world.scenario, len(world.rest)
    rng = scenario.generator("activity")
    on, walked = ~taken_off(world), np.zeros(n)
    rows: list[tuple[str, ...]] = []
    for name, kind, intensity, start, length in _movements(world, rng):
        walked += np.where(world.happened[name], length, 0.0)
        at = np.flatnonzero(world.happened[name] & on & within(_whole(scenario), start))
        drawn = np.full(len(at), kind) if kind else HARD[rng.integers(0, 3, len(at))]
        recorded = within(scenario, start[at])
        at, kinds = at[recorded], drawn[recorded].tolist()
        begin, end = iso(scenario, start[at]), iso(scenario, (start + length)[at])
        rows += zip(begin, end, kinds, [intensity] * len(at), [""] * len(at), strict=True)
    steps = np.round(np.clip(rng.normal(5500.0, 1300.0, n), 1500.0, None) + 95.0 * walked)
    ended = within(scenario, np.arange(n) * float(DAY) + 22 * 60 + 30)
    full = np.flatnonzero(on[1:-1] & ended[1:-1]) + 1
    begin = iso(scenario, world.nights.wake[full])
    end = iso(scenario, full * float(DAY) + 22 * 60 + 30)
    blank = [""] * len(full)
    rows += zip(begin, end, ["steps"] * len(full), blank, whole(steps[full]), strict=True)
    return Table(ACTIVITY, sorted(rows))


def _movements(
    world: World, rng: np.random.Generator
) -> list[tuple[str, str, str, Floats, Floats]]:
    n = len(world.rest)
    midnight = np.arange(n) * float(DAY)
    found: list[tuple[str, str, str, Floats, Floats]] = []
    for meal in ("breakfast", "lunch", "dinner"):
        eaten = np.full(n, np.nan)
        at = world.meals.meal == meal
        eaten[world.meals.row[at]] = world.meals.time[at]
        start = eaten + np.round(rng.uniform(8.0, 20.0, n))
        length = np.round(rng.uniform(14.0, 27.0, n))
        found.append((f"walk_after_{meal}", "walking", "light", start, length))
    start = midnight + np.round(rng.uniform(1040.0, 1065.0, n))
    found.append(
        ("afternoon_walk", "walking", "moderate", start, np.round(rng.uniform(20.0, 40.0, n)))
    )
    start = midnight + np.round(rng.uniform(630.0, 670.0, n))
    found.append(("vigorous_activity", "", "vigorous", start, np.round(rng.uniform(25.0, 45.0, n))))
    return found
