"""Rows that an open-standard file gives to each stream, and what of it was not used."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import pandas as pd

from miner.core.messages import Message, Severity

Told = tuple[Severity, str]
"""How much it matters that something is not used, and the code of the finding."""

NOT_PLACED: Told = (Severity.LEFT_OUT, "records_not_placed")
AVERAGE: Told = (Severity.LEFT_OUT, "averages")
OTHER_SPECIMEN: Told = (Severity.LEFT_OUT, "readings_of_blood")
NO_VALUE: Told = (Severity.NOTE, "records_without_value")
WRONG_UNIT: Told = (Severity.LEFT_OUT, "records_in_unknown_unit")
NO_NUMBER: Told = (Severity.LEFT_OUT, "records_without_number")
NOT_KNOWN: Told = (Severity.NOTE, "records_not_known")
TO_MINUTES = {"s": 1 / 60, "sec": 1 / 60, "min": 1.0, "h": 60.0, "hr": 60.0, "d": 1440.0}
TO_MINUTES |= {"ms": 1 / 60_000}
GLUCOSE_UNITS = {"mg/dl": "glucose_mg_dl", "mmol/l": "glucose_mmol_l"}


@dataclass(slots=True)
class Gathered:
    """What has been gathered of one file.

    Attributes:
        file: its name inside the client folder.
        zone: the zone of times without an offset, or None.
        rows: for each table (a stream, or a glucose column) its rows as text by column.
        series: glucose column and cells of each series of samples.
        told: what was not used, with its line and its text.
        people: for each person named, the lines of that person's records.
    """

    file: str
    zone: str | None
    rows: dict[str, list[dict[str, str]]] = field(default_factory=lambda: defaultdict(list))
    series: list[tuple[str, pd.DataFrame]] = field(default_factory=list)
    told: dict[Told, list[tuple[int, str | Message]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    people: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))

    def put(self, table: str, row: int, **cells: str) -> None:
        """Add a row."""
        self.rows[table].append({**cells, "row": str(row)})

    def leave(self, row: int, told: Told, shown: object = "") -> None:
        """Count a record that is not used."""
        self.told[told].append((row, shown if isinstance(shown, Message) else str(shown)))

    def about(self, row: int, person: str) -> None:
        """Count a record of a person, if it names one. The address of a server is not a name."""
        name = person.partition("/_history/")[0].rpartition("/")[2]
        if name:
            self.people[name].append(row)

    def glucose(self, row: int, time: str, value: str, unit: object, sensor: str = "") -> None:
        """Add a reading in its unit."""
        column = GLUCOSE_UNITS.get(str(unit).casefold())
        if column is None:
            self.leave(row, WRONG_UNIT, unit)
        else:
            self.put(column, row, time=time, sensor=sensor, **{column: value})

    def samples(
        self, row: int, times: pd.Series[str], values: pd.Series[Any], unit: str, sensor: str
    ) -> None:
        """Add many readings of one record: their times, and numbers or words as values."""
        column = GLUCOSE_UNITS.get(unit.casefold())
        if column is None and len(times):
            self.leave(row, WRONG_UNIT, unit)
        elif column is not None and len(times):
            cells = pd.DataFrame({"time": times, column: values})
            self.series.append((column, cells.assign(sensor=sensor, row=row)))


def inside(value: Any, *path: str) -> Any:
    """Return what is at a path of names, or None where there is nothing or something odd."""
    for name in path:
        value = value.get(name) if isinstance(value, dict) else None
    return value


def words(value: Any) -> str:
    """Return a text or a number as text, anything else as an empty text."""
    return value.strip() if isinstance(value, str) else ""


def minutes(value: Any, unit: Any) -> float | None:
    """Return a length in minutes, or None if it is not a number or its unit is not known."""
    scale = TO_MINUTES.get(words(unit).casefold())
    try:
        return None if scale is None else float(words(value)) * scale
    except ValueError:
        return None


def shifted(time: str, by_min: float, zone: str | None) -> str | None:
    """Return a time of ISO 8601 moved by so many minutes, or None where it cannot be read.

    With an offset and a known zone it is written in UTC, so that the zone's own clock applies.
    """
    try:
        moved = datetime.fromisoformat(time) + timedelta(minutes=by_min)
        if moved.tzinfo is not None and zone is not None:
            moved = moved.astimezone(UTC)
    except (ValueError, OverflowError):
        return None
    text = moved.isoformat()
    return text.replace("+00:00", "Z") if zone is not None else text
