"""Writes one invented client as a folder of raw exports, and tells what is true of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from miner.core.files import make_folder, write_whole

from .diary import meals_table, tags_table
from .messy import write_messy
from .scenario import Scenario
from .tables import Table, iso, table, within
from .tracker import activity_table, sleep_table, stress_table
from .world import World, simulate

MG_DL_PER_MMOL_L = 18.0156
MEANINGS = {
    "wake_glucose": "mg/dL on the median of the hour before waking",
    "overnight_mean": "mg/dL on the mean from falling asleep to waking",
    "day_mean": "mg/dL on the mean from waking to the next waking",
    "minutes_above": "mg/dL on the mean from waking to the next waking; the minutes follow",
    "rise": "share of the rise after that meal",
}


def write_client(folder: Path, scenario: Scenario) -> dict[str, Any]:
    """Write the raw exports of one client and return the truth, which is not written there.

    Args:
        folder: the client's folder; made if need be, files of the same names are replaced.
        scenario: what the client is made of.

    Returns:
        ``client``, ``days``, ``effects`` (factor, outcome, size, lag_days, size_means, shape),
        ``nothing_true``, ``together`` (habits that always come together), ``happened`` (ISO
        dates of the rows on which each habit really happened).
    """
    world = simulate(scenario)
    make_folder(folder)
    if scenario.messy:
        write_messy(folder, world, glucose_table(world))
    else:
        streams = {
            "glucose": glucose_table(world),
            "sleep": sleep_table(world),
            "stress": stress_table(world),
            "activity": activity_table(world),
            "meals": meals_table(world),
            "tags": tags_table(world),
        }
        for name, found in streams.items():
            write_whole(folder / f"{name}.csv", found.text(), durable=False)
    write_whole(folder / "client.toml", client_toml(world), durable=False)
    return truth(world)


def glucose_table(world: World) -> Table:
    """Return the readings in the client's unit, LO under 40 and HI over 400 mg/dL."""
    scenario, glucose = world.scenario, world.glucose
    known = np.flatnonzero(~np.isnan(glucose.shown) & within(scenario, glucose.time))
    shown = glucose.shown[known]
    if scenario.unit == "mmol/L":
        column = "glucose_mmol_l"
        values = [f"{value:.1f}" for value in (shown / MG_DL_PER_MMOL_L).tolist()]
    else:
        column = "glucose_mg_dl"
        values = list(map(str, np.rint(shown).astype(np.int64).tolist()))
    for i in np.flatnonzero((shown < 40.0) | (shown > 400.0)):
        values[i] = "LO" if shown[i] < 40.0 else "HI"
    names = np.array([f"sensor-{k + 1}" for k in range(len(glucose.changes) + 1)])
    sensors: list[str] = names[glucose.sensor[known]].tolist()
    times = iso(scenario, glucose.time[known])
    return table(("time", column, "sensor"), times, values, sensors)


def client_toml(world: World) -> str:
    """Return the client's own settings."""
    scenario = world.scenario
    lines = [f'code = "{scenario.code}"']
    if scenario.time_zone:
        lines.append(f'time_zone = "{scenario.time_zone}"')
    worn = world.glucose.changes[within(scenario, world.glucose.changes)]
    if len(worn):
        changes = ", ".join(iso(scenario, worn))
        lines.append(f"sensor_changes = [{changes}]")
    if scenario.pooled:
        lines.append("pooled = true")
    if scenario.intake:
        lines += ["", "[intake]"]
        lines += [f'{name} = "{answer}"' for name, answer in scenario.intake.items()]
    if scenario.settled:
        lines += ["", "[clinician]"]
        lines += [
            f"{name} = {json.dumps(value, default=str)}" for name, value in scenario.settled.items()
        ]
    return "\n".join(lines) + "\n"


def truth(world: World) -> dict[str, Any]:
    """Return what is true of a client, as plain values."""
    scenario = world.scenario
    rows = np.arange(1, scenario.days + 1)
    dates = np.array([text[:10] for text in iso(scenario, rows * 1440.0)])
    return {
        "client": scenario.code,
        "days": scenario.days,
        "effects": [
            {
                "factor": effect.factor,
                "outcome": effect.outcome,
                "size": effect.size,
                "size_means": MEANINGS[effect.outcome],
                "lag_days": effect.lag_days,
                "shape": "dose" if effect.dose else "cut",
            }
            for effect in scenario.effects
        ],
        "nothing_true": not scenario.effects and not scenario.linked_meals,
        "together": [
            [habit.together, name] for name, habit in scenario.habits.items() if habit.together
        ],
        "happened": {name: dates[flags[rows]].tolist() for name, flags in world.happened.items()},
    }
