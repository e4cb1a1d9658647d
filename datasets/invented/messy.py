"""The same client as exports under other names, in other formats, with the faults files have.

UTF-16, semicolons and decimal commas, day-first times, words for readings out of range, rows
written twice, unreadable cells, an impossible year, a night recorded twice, a sampled stress
level, and a ``sources.toml`` that maps it all.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from miner.core.files import write_whole

from .diary import meals_table, tags_table
from .habits import Floats
from .nights import DAY
from .tables import Table, iso, table, within
from .tracker import activity_table, sleep_table, stress_episodes, taken_off
from .world import World

SOURCES = """\
# How the files of this client are read.

[[source]]
file = "sensor*.txt"
stream = "glucose"
skip_rows = 2
delimiter = ";"
decimal = ","
encoding = "utf-16"
time_format = "%d/%m/%Y %H:%M"
not_measured = ["n/a"]
[source.columns]
time = "Reading taken"
glucose_{unit} = "Result"

[[source]]
file = "nights.csv"
stream = "sleep"
delimiter = ";"
decimal = ","
time_format = "%d/%m/%Y %H:%M"
[source.columns]
start = "Fell asleep"
end = "Woke"
asleep_min = "Sleep (h)"
deep_min = "Deep (h)"
awake_min = "Awake (min)"
kind = "Sort"
[source.units]
asleep_min = "h"
deep_min = "h"

[[source]]
file = "stress-level.csv"
stream = "stress"
time_format = "%d/%m/%Y %H:%M"
not_measured = ["-1"]
[source.columns]
time = "When"
[source.episodes]
column = "Level"
at_least = 3
for_min = 10
join_gaps_min = 5

[[source]]
file = "movement.csv"
stream = "activity"
delimiter = ";"
time_format = "%d/%m/%Y %H:%M"
[source.where]
Kind = ["walk"]
[source.columns]
start = "Begin"
duration = "Lasted"
[source.units]
duration = "s"
[source.constants]
kind = "walking"

[[source]]
file = "food-diary.csv"
stream = "meals"
delimiter = ";"
decimal = ","
time_format = "%d/%m/%Y %H:%M"
[source.columns]
time = "When"
label = "What"
carbs_g = "Carbohydrate (g)"
protein_g = "Protein (g)"

[[source]]
file = "notes.csv"
stream = "tags"
delimiter = ";"
time_format = "%d/%m/%Y %H:%M"
[source.columns]
time = "When"
tag = "Note"
"""


def write_messy(folder: Path, world: World, readings: Table) -> None:
    """Write the messy files of one client and the ``sources.toml`` that maps them.

    Args:
        folder: the client's folder, which exists.
        world: the client.
        readings: the glucose table in the client's unit.
    """
    unit = readings.columns[1].removeprefix("glucose_")
    preface = f"Invented client {world.scenario.code}\nReadings as the sensor stored them\n"
    texts = {
        "sources.toml": (SOURCES.replace("{unit}", unit), "utf-8"),
        "sensor download.txt": (preface + _glucose(world, readings).text(";"), "utf-16-le"),
        "nights.csv": (_nights(world).text(";"), "utf-8-sig"),
        "stress-level.csv": (_levels(world).text(), "utf-8"),
        "movement.csv": (_movement(world).text(";"), "utf-8"),
        "food-diary.csv": (_food(world).text(";"), "utf-8-sig"),
        "notes.csv": (_notes(world).text(";"), "utf-8"),
    }
    for name, (text, encoding) in texts.items():
        mark = "\ufeff" if encoding == "utf-16-le" else ""
        write_whole(folder / name, (mark + text).encode(encoding), durable=False)


def _day_first(iso_text: str) -> str:
    return f"{iso_text[8:10]}/{iso_text[5:7]}/{iso_text[:4]} {iso_text[11:16]}"


def _glucose(world: World, readings: Table) -> Table:
    rows = [
        (_day_first(time), value.replace(".", ","), sensor) for time, value, sensor in readings.rows
    ]
    rng = world.scenario.generator("faults")
    spots = np.sort(rng.choice(len(rows) - 40, 9, replace=False))[::-1].tolist()
    words = ["LO", "HI", "LO", "??", "n/a", "5,l", ""]
    for spot, word in zip(spots, words, strict=False):
        rows[spot] = (rows[spot][0], word, rows[spot][2])
    day, year = rows[spots[7]][0][:6], "2062"
    rows[spots[7]] = (f"{day}{year}{rows[spots[7]][0][10:]}", *rows[spots[7]][1:])
    again = rows[spots[8] : spots[8] + 24]
    return Table(
        ("Reading taken", "Result", "Device"), rows[: spots[8] + 24] + again + rows[spots[8] + 24 :]
    )


def _nights(world: World) -> Table:
    rows = []
    for start, end, asleep, deep, _, _, awake, _, kind in sleep_table(world).rows:
        hours = [f"{int(x) / 60:.3f}".replace(".", ",") if x else "" for x in (asleep, deep)]
        rows.append((_day_first(start), _day_first(end), *hours, awake, kind))
    twice = len(rows) // 3
    start, end, _, deep, awake, kind = rows[twice]
    rows.insert(twice, (start, end, "", deep, awake, kind))
    noon = rows[2 * twice][1][:10]
    rows.insert(2 * twice + 1, (f"{noon} 13:40", f"{noon} 14:05", "0,400", "", "", "nap"))
    columns = ("Fell asleep", "Woke", "Sleep (h)", "Deep (h)", "Awake (min)", "Sort")
    return Table(columns, rows)


def _levels(world: World) -> Table:
    time: Floats = np.arange(DAY, (world.scenario.days + 1) * DAY, 5.0)
    time = time[within(world.scenario, time)]
    rng = world.scenario.generator("stress level")
    level = rng.integers(0, 3, len(time))
    episodes, _ = stress_episodes(world)
    for start, length in zip(episodes.start, episodes.length, strict=True):
        level[(time >= start) & (time < start + length)] = 4
    level[taken_off(world)[(time // DAY).astype(np.int64)]] = -1
    moments = iso(world.scenario, time)
    return table(("When", "Level"), list(map(_day_first, moments)), list(map(str, level.tolist())))


def _movement(world: World) -> Table:
    rows = []
    for start, end, kind, _, steps in activity_table(world).rows:
        if kind != "steps":
            seconds = (np.datetime64(end) - np.datetime64(start)).astype(int)
            word = "walk" if kind == "walking" else kind
            rows.append((_day_first(start), str(seconds), word, steps))
    return Table(("Begin", "Lasted", "Kind", "Steps"), rows)


def _food(world: World) -> Table:
    rows = [
        (_day_first(time), label, f"{carbs},0" if carbs else "", protein)
        for time, label, carbs, protein in meals_table(world).rows
    ]
    odd = len(rows) // 2
    rows[odd] = (rows[odd][0].replace("/20", "/19", 1), *rows[odd][1:])
    rows[odd + 5] = (*rows[odd + 5][:2], "a plate", rows[odd + 5][3])
    return Table(("When", "What", "Carbohydrate (g)", "Protein (g)"), rows)


def _notes(world: World) -> Table:
    rows = [(_day_first(time), tag) for time, tag in tags_table(world).rows]
    return Table(("When", "Note"), rows)
