"""Rows that an open-standard file gives to each stream, and what of it was not used."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from miner.core.messages import Message
from miner.core.results import Severity
from miner.records.check.one_person import tell_several
from miner.records.columns import empty
from miner.records.read.sources import canonical
from miner.records.read.stream_file import Part, read_part
from miner.records.read.table_file import Table

if TYPE_CHECKING:
    from miner.records.findings import Findings

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
        told: what was not used, with the line and what stands there.
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
        """Count a record of a person, where one is named; the address of a server is no name."""
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

    def parts(self, findings: Findings) -> list[Part]:
        """Return what the file gives to each stream; tell what was not used."""
        for (severity, code), places in self.told.items():
            at = pd.DataFrame({"file": self.file, "row": [row for row, _ in places]})
            shown = [shown for _, shown in places]
            findings.rows(severity, code, at=at, shown=shown if any(map(str, shown)) else ())
        if len(self.people) > 1:
            row = max(min(rows) for rows in self.people.values())
            counts = {name: len(rows) for name, rows in self.people.items()}
            tell_several(self.file, row, "", counts, findings)
            return [Part("glucose", None)]
        tables = [(name, _text(name, rows)) for name, rows in sorted(self.rows.items())]
        tables += _joined(self.series)
        if not tables:
            return [Part("glucose", empty("glucose"))]
        return [self._part(name, cells, findings) for name, cells in tables]

    def _part(self, name: str, cells: pd.DataFrame, findings: Findings) -> Part:
        stream = "glucose" if name in GLUCOSE_UNITS.values() else name
        lines = cells.pop("row").astype("int64").to_numpy()
        table = Table(self.file, cells, np.asarray(lines))
        source = canonical(self.file, stream, list(cells.columns), self.zone)
        part = read_part(table, source, self.zone, findings)
        return replace(part, person=next(iter(self.people), ""))


def _text(name: str, rows: list[dict[str, str]]) -> pd.DataFrame:
    cells = pd.DataFrame(_merged(rows) if name == "sleep" else rows).fillna("").astype("str")
    return cells.mask(cells == "")


def _joined(series: list[tuple[str, pd.DataFrame]]) -> list[tuple[str, pd.DataFrame]]:
    """Put the series of one unit together, numbers apart from words."""
    kinds: dict[tuple[str, bool], list[pd.DataFrame]] = defaultdict(list)
    for column, cells in series:
        kinds[(column, pd.api.types.is_numeric_dtype(cells[column]))].append(cells)
    return [(key[0], pd.concat(kinds[key], ignore_index=True)) for key in sorted(kinds)]


def _merged(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Put the parts of one sleep, written one by one, into one row."""
    nights: dict[tuple[str, str], dict[str, str]] = {}
    for row in rows:
        night = nights.setdefault((row["start"], row["end"]), dict(row))
        for key, value in row.items():
            if key in night and night[key] != value and key not in ("row", "start", "end"):
                nights[(row["start"], f"{row['end']} ")] = dict(row)
                break
        else:
            night.update({key: value for key, value in row.items() if key not in night})
    return list(nights.values())


def inside(value: Any, *path: str) -> Any:
    """Return what stands at a path of names, or None where there is nothing or something odd."""
    for name in path:
        value = value.get(name) if isinstance(value, dict) else None
    return value


def words(value: Any) -> str:
    """Return a text or a number as text, anything else as an empty text."""
    return value.strip() if isinstance(value, str) else ""


def minutes(value: Any, unit: Any) -> float | None:
    """Return a length in minutes, or None where it is no number or its unit is not known."""
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
