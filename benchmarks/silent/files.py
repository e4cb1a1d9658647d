"""Clients whose records are known, and the styles in which their files are written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from datasets.invented import Scenario, simulate
from datasets.invented.diary import meals_table, tags_table
from datasets.invented.export import glucose_table
from datasets.invented.tracker import activity_table, sleep_table, stress_table

Cell = datetime | float | str | None
TIMES = ("time", "start", "end")
TEXTS = ("label", "tag", "kind", "intensity", "sensor")


@dataclass(frozen=True)
class Style:
    """How a file is written; ``said`` is what sources.toml says of it, or nothing."""

    name: str
    spell: Callable[[datetime], str]
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    zone: str | None = None
    headers: dict[str, str] = field(default_factory=dict)
    said: str = ""


@dataclass
class File:
    """One file: the records that are known, and how they are written."""

    stream: str
    columns: list[str]
    rows: list[list[Cell]]
    style: Style
    header: list[str] | None = None
    lines: list[str] | None = None
    raw: bytes | None = None

    def copy(self, **changes: object) -> File:
        """Return the file with something changed; its rows are a list of their own."""
        return replace(self, **({"rows": [list(row) for row in self.rows]} | changes))  # type: ignore[arg-type]

    def at(self, name: str) -> int:
        """Return where a column stands."""
        return self.columns.index(name)

    def cell(self, value: Cell) -> str:
        """Return one cell as it is written."""
        style = self.style
        if value is None:
            return ""
        if isinstance(value, datetime):
            return style.spell(value)
        if isinstance(value, str):
            unsafe = style.delimiter in value or '"' in value or "\n" in value
            return '"' + value.replace('"', '""') + '"' if unsafe else value
        text = str(int(value)) if float(value).is_integer() else f"{value:g}"
        text = text.replace(".", style.decimal)
        return f'"{text}"' if style.decimal == style.delimiter and "," in text else text

    def names(self) -> list[str]:
        """Return the header."""
        return self.header or [self.style.headers.get(name, name) for name in self.columns]

    def text(self) -> list[str]:
        """Return the lines of the file."""
        if self.lines is not None:
            return self.lines
        join = self.style.delimiter.join
        return [join(self.names()), *(join(map(self.cell, row)) for row in self.rows)]

    @cached_property
    def content(self) -> bytes:
        """The bytes of the file; its rows stay as they are from then on."""
        if self.raw is not None:
            return self.raw
        return ("\n".join(self.text()) + "\n").encode(self.style.encoding)

    @property
    def name(self) -> str:
        """The name of the file."""
        return f"{self.stream}.csv"


Client = dict[str, File]


def _iso(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M")


def _with_offset(zone: str) -> Callable[[datetime], str]:
    def spell(moment: datetime) -> str:
        return moment.replace(tzinfo=ZoneInfo(zone)).isoformat(timespec="minutes")

    return spell


GERMANIC = {
    "time": "Zeit", "start": "Beginn", "end": "Ende", "glucose_mg_dl": "Wert", "label": "Was",
    "glucose_mmol_l": "Wert", "tag": "Notiz", "asleep_min": "Schlaf", "awake_min": "Wach",
    "deep_min": "Tief", "carbs_g": "KH", "protein_g": "Protein", "fat_g": "Fett",
    "energy_kcal": "Energie", "steps": "Schritte", "level": "Wert", "kind": "Art",
    "rem_min": "REM", "light_min": "Leicht", "awakenings": "Mal wach", "intensity": "Wie stark",
}  # fmt: skip

STYLES = (
    Style("own names, no zone", _iso),
    Style("own names, offsets", _with_offset("Europe/Lisbon"), zone="Europe/Lisbon"),
    Style(
        "day first, decimal commas",
        lambda moment: moment.strftime("%d/%m/%Y %H:%M"),
        delimiter=";",
        decimal=",",
        headers=GERMANIC,
        said='delimiter = ";"\ndecimal = ","\ntime_format = "%d/%m/%Y %H:%M"\n',
    ),
    Style(
        "month first, 12 hours",
        lambda moment: moment.strftime("%m/%d/%Y %I:%M %p"),
        zone="Europe/Lisbon",
        said='time_format = "%m/%d/%Y %I:%M %p"\n',
    ),
    Style(
        "tabs, seconds, month in words",
        lambda moment: moment.strftime("%d %b %Y %H:%M:%S"),
        delimiter="\t",
        said='delimiter = "tab"\ntime_format = "%d %b %Y %H:%M:%S"\n',
    ),
)


def make_client(seed: int, style: Style, *, molar: bool, days: int = 12) -> Client:
    """Return the known files of one client: readings every 5 or 15 minutes, steps every 15."""
    rng = np.random.default_rng([seed, 77])
    unit = "mmol/L" if molar else "mg/dL"
    start = datetime(2026, 1, 5) + timedelta(days=int(rng.integers(0, 40)))
    scenario = Scenario(
        "client",
        days=days,
        seed=seed,
        start=start.date(),
        sensor_days=100,
        unit=unit,
        cadence=5 if seed % 3 == 0 else 15,
    )
    world = simulate(scenario)
    tables = {
        "glucose": glucose_table(world),
        "sleep": sleep_table(world),
        "stress": stress_table(world),
        "activity": activity_table(world),
        "meals": meals_table(world),
        "tags": tags_table(world),
    }
    files = {}
    for stream, found in tables.items():
        columns = list(found.columns)
        rows = [
            [_value(c, text) for c, text in zip(columns, row, strict=True)] for row in found.rows
        ]
        files[stream] = File(stream, columns, rows, style)
    _drop(files["glucose"], "sensor")
    _with_fat_and_energy(files["meals"], rng)
    _in_blocks(files, rng)
    return files


def _value(column: str, text: str) -> Cell:
    if column in TIMES:
        return datetime.fromisoformat(text)
    if column in TEXTS or text == "":
        return text or None
    try:
        return float(text)
    except ValueError:
        return text


def _drop(file: File, name: str) -> None:
    at = file.columns.index(name)
    file.columns.pop(at)
    for row in file.rows:
        row.pop(at)


def _with_fat_and_energy(meals: File, rng: np.random.Generator) -> None:
    meals.columns += ["fat_g", "energy_kcal"]
    for row in meals.rows:
        carbs, protein = row[meals.at("carbs_g")], row[meals.at("protein_g")]
        if carbs is None or protein is None:
            row += [None, None]
        else:
            fat = float(rng.integers(2, 35) + (60 if rng.random() < 0.2 else 0))
            row += [fat, float(round(4 * carbs + 4 * protein + 9 * fat))]


def _in_blocks(files: Client, rng: np.random.Generator) -> None:
    """Put blocks of a quarter of an hour in the place of the steps of a day."""
    activity, sleep = files["activity"], files["sleep"]
    kind, steps = activity.at("kind"), activity.at("steps")
    rows = [row for row in activity.rows if row[kind] != "steps"]
    nights = [(row[0], row[1]) for row in sleep.rows]
    moment, last = activity.rows[0][0], max(row[1] for row in activity.rows)
    moment = moment.replace(hour=0, minute=0)
    quarter = timedelta(minutes=15)
    while moment < last:
        asleep = any(start < moment + quarter and moment < end for start, end in nights)
        count = 0.0 if asleep or rng.random() < 0.4 else float(rng.integers(5, 700))
        row: list[Cell] = [None] * len(activity.columns)
        row[0], row[1], row[kind], row[steps] = moment, moment + quarter, "steps", count
        rows.append(row)
        moment += quarter
    activity.rows = sorted(rows, key=lambda row: row[:2])


def sources_toml(files: Client) -> str:
    """Return the mapping of the files as they are declared, or nothing where none is needed."""
    entries = []
    for file in files.values():
        if file.style.said:
            columns = "".join(
                f'{name} = "{file.style.headers.get(name, name)}"\n' for name in file.columns
            )
            entries.append(
                f'[[source]]\nfile = "{file.name}"\nstream = "{file.stream}"\n'
                f"{file.style.said}[source.columns]\n{columns}"
            )
    return "\n".join(entries)


def write_client(folder: Path, files: Client, declared: Client) -> None:
    """Write the files as they are, and the settings as they were declared before."""
    folder.mkdir(parents=True)
    for file in files.values():
        (folder / file.name).write_bytes(file.content)
    zone = declared["glucose"].style.zone
    lines = ['code = "client"', *([f'time_zone = "{zone}"'] if zone else [])]
    (folder / "client.toml").write_text("\n".join(lines) + "\n")
    told = sources_toml(declared)
    if told:
        (folder / "sources.toml").write_text(told)
