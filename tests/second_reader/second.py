"""A client's two tables beside those of the second reader."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
from raw import read
from same_tables import differences
from tables import Second, Table

import miner
from miner import steps


def disagreements(folder: Path) -> dict[str, dict[str, str]]:
    """Return where the tables of a client differ from what is recomputed from the raw files."""
    client = miner.read_client(folder)
    second = Second(read(folder))
    dates = [f"{date:%Y-%m-%d}" for date in second.days.index]
    table, times = steps.meals(client), second.diary.meals["time"]
    found = {
        "day": _of_unit(second.day_table(), steps.days(client), dates),
        "meal": _of_unit(second.meal_table(), table, _named(times, list(table.frame.index))),
    }
    return {unit: apart for unit, apart in found.items() if apart}


def _named(times: pd.Series, table: list[str]) -> list[str]:
    """Return the meals by the minute they begin in, as the table names them."""
    names = [f"{time:%Y-%m-%dT%H:%M}" for time in times]
    return table if [each[:16] for each in table] == names else names


def _of_unit(second: Table, table, names: list[str]) -> dict[str, str]:
    habits = [name for name in table.frame if name in table.measures]
    shown = [name for name in second.outcomes if name in table.frame]
    found = {}
    for what, mine, theirs in (
        (
            "outcome",
            second.outcomes[shown],
            table.frame[list(dict.fromkeys((*table.outcomes, *shown)))],
        ),
        ("measure", second.measures, pd.DataFrame(table.measures)),
        ("habit", second.habits, table.frame[habits]),
    ):
        apart = differences(mine.set_axis(names), theirs.set_axis(map(str, table.frame.index)))
        found |= {f"{what} {name}": text for name, text in apart.items()}
    return found
