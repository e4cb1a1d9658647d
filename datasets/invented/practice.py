"""Practices of invented clients: the one the demo writes, and any number of others."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from miner.core.files import make_folder, write_whole

from .diary import misspellings
from .export import write_client
from .scenario import Effect, Habit, Scenario, usual_habits

MORNING = ("short_sleep", "wake_glucose")
NIGHT = ("late_dinner", "overnight_mean")
STRONG = (Effect(*MORNING, 15.0), Effect(*NIGHT, 12.0))
ASKED = {"insulin": "no", "pregnancy": "no", "medicines": "no", "eating_disorder": "no"}
README = """\
The people in this folder are invented.

Every number here was made by a program; no record belongs to anyone. What is true of each client
is in truth.json, so that you can compare what is found with what is there. Each folder holds one
client as exports might arrive. Nothing in truth.json is read when a client is ranked.
"""


def demo_scenarios(seed: int = 0) -> tuple[Scenario, ...]:
    """Return the clients of the demo.

    client-01 has two true effects and a diary that fades; client-02 nothing to find; client-03
    too few days; client-04 messy files in mmol/L and mornings that follow the hours of sleep, not a
    line drawn through them; client-05 two habits that always come
    together; client-06 takes insulin and reads high.
    """
    agreed: dict[str, Any] = {"seed": seed, "pooled": True, "intake": ASKED}
    zone: dict[str, Any] = {"time_zone": "Europe/Lisbon"}
    faded: dict[str, Any] = {"fading": 0.35, "misspelt": 0.3, **zone}
    other: dict[str, Any] = {"unit": "mmol/L", "cadence": 15, "messy": True, **zone}
    both = (Effect(*MORNING, 12.0), Effect(*NIGHT, 14.0))
    by_the_hour = (Effect(*MORNING, 11.0, dose=True),)
    pair = usual_habits() | {"tag:wine": Habit(0.33, together="late_dinner")}
    clinic = {"diabetes": "yes", "insulin": "yes", "medicines": "yes", "pregnancy": "no"}
    return (
        Scenario("client-01", 42, effects=both, base=93.0, sensor_days=21, **faded, **agreed),
        Scenario("client-02", linked_meals=False, **agreed),
        Scenario("client-03", 12, seed=seed, effects=(Effect(*MORNING, 12.0),)),
        Scenario(
            "client-04", 40, effects=by_the_hour, base=86.0, sleep_spread=2.0, **other, **agreed
        ),
        Scenario("client-05", effects=(Effect(*NIGHT, 15.0),), habits=pair, **agreed),
        Scenario("client-06", seed=seed, base=132.0, meal_size=1.7, intake=clinic),
    )


FIRST_MONTH = 42
"""Days of the records that suggest what is followed after them."""


def living_scenarios(today: date, seed: int = 0) -> dict[str, Scenario]:
    """Return the clients of a practice that is at work today, by the state each is in.

    The records end on the day before. Where a story goes on after a first month, ``recorded_days``
    is that month; what follows depends on what is agreed on then.

    Args:
        today: the day on which the practice is looked at.
        seed: seed of the clients.
    """
    first = {one.code: one for one in demo_scenarios(seed)}
    asked: dict[str, Any] = {"seed": seed, "intake": ASKED | {"diabetes": "no", "lows": "no"}}
    sleep = (Effect(*MORNING, 16.0),)
    steady: dict[str, Any] = {"base": 90.0, "level_sd": 2.0, "sensor_sd": 1.0, "effects": sleep}
    often, half, more, mostly = (
        usual_habits() | {"short_sleep": Habit(share)} for share in (0.4, 0.45, 0.7, 0.8)
    )
    goes_on: dict[str, Any] = {"recorded_days": FIRST_MONTH, **steady, **asked}
    insulin: dict[str, Any] = {"treats_diabetes": True, "informed": today - timedelta(days=10)}
    insulin |= {"agreed": today - timedelta(days=3), "covers": ["movement"]}
    informed = {"informed": today - timedelta(days=1)}
    high = steady | {"base": 102.0, "effects": (Effect(*MORNING, 19.0),)}
    careful: dict[str, Any] = {"informed": today - timedelta(days=8)}
    careful |= {"agreed": today - timedelta(days=2), "covers": ["sleep"]}
    calm: dict[str, Any] = {"seed": seed, "intake": ASKED | {"eating_disorder": "yes"}, **steady}
    states = {
        "ready": replace(first["client-01"], effects=STRONG, habits=often, base=89.0, level_sd=4.5),
        "nothing": first["client-02"],
        "running": first["client-03"],
        "referred": first["client-04"],
        "together": first["client-05"],
        "insulin": replace(first["client-06"], settled=insulin),
        "no_records": Scenario("client-07", 1, recorded_days=0, **asked),
        "due": Scenario("client-08", FIRST_MONTH + 28, habits=half, **goes_on),
        "testing": Scenario("client-09", FIRST_MONTH + 28, habits=mostly, **goes_on),
        "tested": Scenario("client-10", FIRST_MONTH + 58, habits=mostly, **goes_on),
        "informed": Scenario("client-11", 42, habits=more, settled=informed, **high, **asked),
        "no_numbers": Scenario("client-12", 42, habits=often, settled=careful, **calm),
    }
    return {
        state: replace(one, start=today - timedelta(days=1 + one.days))
        for state, one in states.items()
    }


def scenarios(n: int, days: int = 35, seed: int = 0) -> tuple[Scenario, ...]:
    """Return n different clients for a practice of any size, all of whom agreed to be pooled.

    Half of them have nothing true of them, a third a raised morning after short nights, a sixth
    a raised night after late dinners; sizes are normal, mean 10 and SD 3 mg/dL, at least 3. One
    in four has a sensor that reads every 15 minutes, one in eight reads in mmol/L.

    Args:
        n: how many clients.
        days: days of records each.
        seed: seed of the practice.

    Raises:
        ValueError: n or days is below 1.
    """
    if n < 1:
        raise ValueError("a practice needs at least one client")
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, 1])))
    width = max(2, len(str(n)))
    found = []
    for k in range(n):
        kind, size = rng.random(), round(float(np.clip(rng.normal(10.0, 3.0), 3.0, None)), 1)
        effects: tuple[Effect, ...] = ()
        if kind >= 5 / 6:
            effects = (Effect("late_dinner", "overnight_mean", size),)
        elif kind >= 1 / 2:
            effects = (Effect("short_sleep", "wake_glucose", size),)
        found.append(
            Scenario(
                f"client-{k + 1:0{width}d}",
                days=days,
                start=date(2026, 1, 12),
                seed=int(rng.integers(2**31)),
                effects=effects,
                linked_meals=bool(effects),
                persistence=round(float(rng.uniform(0.3, 0.6)), 2),
                cadence=15 if k % 4 == 3 else 5,
                unit="mmol/L" if k % 8 == 5 else "mg/dL",
                fading=0.2 if k % 3 == 0 else 0.0,
                pooled=True,
            )
        )
    return tuple(found)


def write_practice(
    folder: Path, clients: Sequence[Scenario] | None = None, *, seed: int = 0
) -> dict[str, Any]:
    """Write a practice: a folder a client, ``practice.toml``, ``README.txt`` and ``truth.json``.

    Args:
        folder: the practice's folder; made if need be.
        clients: the clients, by default those of the demo.
        seed: seed of the demo's clients.

    Returns:
        What ``truth.json`` holds: ``{"invented": True, "clients": {code: truth}}``.
    """
    chosen = demo_scenarios(seed) if clients is None else tuple(clients)
    make_folder(folder)
    truths = {one.code: write_client(folder / one.code, one) for one in chosen}
    found: dict[str, Any] = {"invented": True, "clients": truths}
    write_whole(folder / "practice.toml", practice_toml(chosen), durable=False)
    write_whole(folder / "README.txt", README, durable=False)
    write_whole(folder / "truth.json", json.dumps(found, indent=1) + "\n", durable=False)
    return found


def practice_toml(clients: Sequence[Scenario]) -> str:
    """Return the practice's settings: display unit, and the tags that were written otherwise."""
    words = {
        name.removeprefix("tag:")
        for one in clients
        if one.misspelt
        for name in one.habits
        if name.startswith("tag:")
    }
    lines = ['display_unit = "mg/dL"', 'rank_unit = "day"']
    if words:
        lines += ["", "[synonyms]"]
        lines += [f'"{misspellings(word)[2]}" = "{word}"' for word in sorted(words)]
    return "\n".join(lines) + "\n"
