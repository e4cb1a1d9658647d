"""What the columns of each stream are: unit, plausible range, and what a blank cell means.

A blank cell always means "not recorded", never zero or "no".

What the streams have beyond plain columns:

- Activity of a kind in ``STILL_KINDS`` has the kind "still": the tracker was worn and
  nobody moved. It is not an activity, and no list shows it.
- ``Client.worn["activity"]`` holds when the tracker was worn: by every row of a file of blocks,
  also those that ``where`` leaves out of the stream, and by every row of a file with "still".
- ``active_min`` of an activity: minutes of movement inside [start, end]; where it is NaN the whole
  of [start, end] was movement.
- ``meal`` of a meal: one of ``MEALS``, or ``NOT_FOOD`` if the row is not food (a treated low, a
  medicine). Such a row stays in the stream with ``left_out`` empty. An empty text: not recorded.
- A meal with a date and no time of day is at 12:00 of that date with ``left_out`` set to
  ``NO_TIME``: something was eaten that day, at an unknown time.
- A tag with a date and no time of day is at 12:00 of that date with ``date_only`` True: it is
  of that day, and of no time of it.
- ``level`` of stress: NaN where not recorded. A row whose level was written and could not be read
  has ``left_out`` set to ``NO_LEVEL``: it may have been stress or not.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import pandas as pd

MG_DL_PER_MMOL_L = 18.0156
"""Source: molar mass of glucose 180.156 g/mol from the abridged IUPAC standard atomic weights."""

LOWEST_MG_DL, HIGHEST_MG_DL = 20.0, 600.0
LEVELS = ("low", "moderate", "high")
MEALS = ("breakfast", "lunch", "dinner", "snack")
NOT_FOOD = "not_food"
STILL = "still"
NO_END, BACKWARDS, TOO_LONG = "no_end", "ends_before_start", "over_24_hours"
NO_LEVEL, NO_TIME = "no_level", "no_time_of_day"
TWO_VALUES, CONTRADICTED = "two_values", "contradicted"
"""Why a row is left out, where others must know it; ``records.left_out_...`` has their words."""

IN_DOUBT = (NO_END, BACKWARDS, TOO_LONG, NO_LEVEL)
"""Why a record is left out though it says that something began then."""

TIME_OF_DAY, UTC_OFFSET, DURATION = "time_of_day", "utc_offset", "duration"
TIMES = ("time", "start", "end")
"""Columns that tell when a row was, besides those of the streams."""

STILL_KINDS = (STILL, "sedentary", "resting")
_TIMES = {"start", "end", "start_clock", "end_clock", "time", "clock"}
_PLACES = {"row": "int64", "censored": "int8", "date_only": "bool"}
_PERSON = {"patient", "subject", "person", "client", "user", "participant", "member"}
_BESIDE = {"id", "name", "code", "number", "no", "ref", "reference", "uuid", "key"}
_WORD = re.compile(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])")


@dataclass(frozen=True, slots=True)
class Number:
    """A column of numbers: its unit and the lowest and highest plausible value."""

    unit: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class StreamColumns:
    """The columns one stream has when it has been read.

    Attributes:
        interval: True where a record has a start and an end, False where it has one time.
        needed: columns without which a file of this stream cannot be read (next to the times).
        numbers: columns of numbers.
        texts: columns of free text.
        choices: columns of text from a closed list.
        folded: free texts in which case and spacing do not matter.
    """

    interval: bool
    needed: tuple[str, ...] = ()
    numbers: Mapping[str, Number] = field(default_factory=dict)
    texts: tuple[str, ...] = ()
    choices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    folded: tuple[str, ...] = ()

    @property
    def values(self) -> tuple[str, ...]:
        """Every column that is not a time."""
        return (*self.numbers, *self.texts, *self.choices)

    @property
    def times(self) -> tuple[str, ...]:
        """The columns that hold times."""
        return ("start", "end") if self.interval else ("time",)


_MINUTES = Number("min", 0, 1440)
_GRAMS = Number("g", 0, 1000)

COLUMNS: Mapping[str, StreamColumns] = {
    "glucose": StreamColumns(
        interval=False,
        numbers={
            "glucose_mg_dl": Number("mg/dL", LOWEST_MG_DL, HIGHEST_MG_DL),
            "glucose_mmol_l": Number("mmol/L", LOWEST_MG_DL, HIGHEST_MG_DL),
        },
        texts=("sensor",),
    ),
    "sleep": StreamColumns(
        interval=True,
        numbers={
            "asleep_min": _MINUTES,
            "deep_min": _MINUTES,
            "rem_min": _MINUTES,
            "light_min": _MINUTES,
            "awake_min": _MINUTES,
            "awakenings": Number("count", 0, 200),
        },
        choices={"kind": ("main", "nap")},
    ),
    "stress": StreamColumns(interval=True, numbers={"level": Number("level", 0, 1e6)}),
    "activity": StreamColumns(
        interval=True,
        needed=("kind",),
        numbers={"steps": Number("count", 0, 200_000), "active_min": _MINUTES},
        texts=("kind",),
        choices={"intensity": ("light", "moderate", "vigorous")},
        folded=("kind",),
    ),
    "meals": StreamColumns(
        interval=False,
        needed=("label",),
        numbers={
            "carbs_g": _GRAMS,
            "protein_g": _GRAMS,
            "fat_g": _GRAMS,
            "fibre_g": _GRAMS,
            "energy_kcal": Number("kcal", 0, 10_000),
        },
        texts=("label",),
        choices={
            "meal": (*MEALS, NOT_FOOD),
            "carbs_level": LEVELS,
            "protein_level": LEVELS,
            "fat_level": LEVELS,
            "fibre_level": LEVELS,
        },
    ),
    "tags": StreamColumns(interval=True, needed=("tag",), texts=("tag",), folded=("tag",)),
}

TO_MINUTES = {"s": 1 / 60, "min": 1.0, "h": 60.0}
_TO_MG_DL = {"mg/dL": 1.0, "mmol/L": MG_DL_PER_MMOL_L}
UNITS = (*TO_MINUTES, *_TO_MG_DL)
EPOCHS = {"epoch_s": 1, "epoch_ms": 1000}
"""Units of a time written as a count since 1970-01-01 in UTC: how many of them make a second."""


def factor(found: str, wanted: str) -> float | None:
    """Return what a number in one unit is multiplied by to be in another; None if it cannot be."""
    for table in (TO_MINUTES, _TO_MG_DL):
        if found in table and wanted in table:
            return table[found] / table[wanted]
    return 1.0 if found == wanted else None


def known_columns(stream: str) -> tuple[str, ...]:
    """Return every column a file of this stream may have under its own name."""
    spec = COLUMNS[stream]
    times = ("time", "start", "end") if stream == "tags" else spec.times
    return (*times, *spec.values)


def names_a_person(column: str) -> bool:
    """Say whether a column, by its name, says whose row it is."""
    found = {word.casefold() for word in _WORD.findall(column)}
    return bool(found & _PERSON) and found <= _PERSON | _BESIDE


def columns_of(stream: str) -> list[str]:
    """Return the columns of a stream as it is handed on."""
    spec = COLUMNS[stream]
    if stream == "glucose":
        values = ["glucose", "censored", "unit", "sensor"]
    else:
        order = (*spec.texts, *spec.choices, *spec.numbers)
        values = list(order if stream in ("activity", "meals", "tags") else spec.values)
        values += ["date_only"] if stream == "tags" else []
    times = ["start", "end", "start_clock", "end_clock"] if spec.interval else ["time", "clock"]
    return [*times, *values, "left_out", "file", "row"]


def empty(stream: str) -> pd.DataFrame:
    """Return a stream without rows."""
    return _empty(stream).copy()


@cache
def _empty(stream: str) -> pd.DataFrame:
    kinds = dict.fromkeys(columns_of(stream), "str")
    kinds |= dict.fromkeys(kinds.keys() & _TIMES, "datetime64[ns]")
    kinds |= dict.fromkeys(kinds.keys() & {*COLUMNS[stream].numbers, "glucose"}, "float64")
    kinds |= {name: kind for name, kind in _PLACES.items() if name in kinds}
    if stream != "glucose":
        kinds["twin"] = "uint64"
    columns = columns_of(stream) + (["twin"] if stream != "glucose" else [])
    return pd.DataFrame({name: pd.Series(dtype=kinds[name]) for name in columns})
