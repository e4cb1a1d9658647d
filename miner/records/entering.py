"""From what a practitioner types to a correction: which record is meant, and what it says now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from miner.core.errors import MinerError
from miner.core.results import Severity
from miner.records.client import Client
from miner.records.columns import COLUMNS
from miner.records.correcting import described, read_added, same_records
from miner.records.corrections import NAME, Correction, Place, columns_to_write, read_corrections
from miner.records.findings import Findings
from miner.records.record_meant import find_record, noted_frame, shown
from miner.records.table_file import Table
from miner.records.typed_times import times_of, typed_time
from miner.records.writing import is_zoned

LONGEST_WORDS = 200


@dataclass(frozen=True, slots=True)
class Entry:
    """What a practitioner says of a meal or a tag.

    Attributes:
        stream: meals or tags; None where that is told by the record it is about.
        at, end: when it began and ended, as typed; None where that is not said.
        values: the stream's columns that are said, as text; an empty text is "not known".
    """

    stream: str | None = None
    at: str | None = None
    end: str | None = None
    values: Mapping[str, str] = field(default_factory=dict)


def addition(client: Client, entry: Entry, entered: str) -> Correction:
    """Return the row that adds a record.

    Raises:
        MinerError: it has no time or no words, cannot be read, or is there already.
    """
    stream = entry.stream or "meals"
    _require_words(entry.values)
    said = {name: text.strip() for name, text in entry.values.items() if text.strip()}
    missing = [name for name in COLUMNS[stream].needed if name not in said]
    if entry.at is None or missing:
        raise MinerError(f"records.entry_without_{'time' if entry.at is None else 'words'}")
    first = COLUMNS[stream].times[0]
    times = {first: typed_time(client, entry.at, stream)}
    if entry.end is not None:
        times["end"] = typed_time(client, entry.end, stream)
    return _checked(client, Correction(0, entered, stream, None, {}, times | said), None)


def mending(client: Client, which: str, entry: Entry, entered: str) -> Correction:
    """Return the row that puts a record in place of another.

    Raises:
        MinerError: no record is meant, or several are; or what is said cannot be read, changes
            nothing, or is there already.
    """
    _require_words(entry.values)
    stream, row = find_record(client, which, entry.stream)
    strange = [name for name in entry.values if name not in columns_to_write(stream)]
    if strange:
        raise MinerError(
            "records.entry_of_other_stream",
            which=which,
            stream=stream,
            column=strange[0],
            known=columns_to_write(stream),
        )
    old = described(stream, row)
    values = times_of(client, stream, row)
    values |= {name: str(value) for name, value in old.items() if name not in COLUMNS[stream].times}
    values |= entry.values
    if entry.at is not None:
        values[COLUMNS[stream].times[0]] = typed_time(client, entry.at, stream)
    if entry.end is not None:
        values["end"] = typed_time(client, entry.end, stream)
    target, was = _origin(client, stream, row)
    given = {name: text.strip() for name, text in values.items() if text.strip()}
    return _checked(client, Correction(0, entered, stream, target, was, given), row)


def removal(client: Client, which: str, entered: str) -> Correction:
    """Return the row that takes a record out; one that was added is taken back.

    Raises:
        MinerError: no record is meant, or several are.
    """
    known, row = find_record(client, which, None)
    target, was = _origin(client, known, row)
    return Correction(0, entered, known, target, was, {})


def _origin(client: Client, stream: str, row: Mapping[Any, Any]) -> tuple[Place, dict[str, Any]]:
    """Return the row that a record came from first, and what was read there."""
    place = str(row["file"]), int(row["row"])
    if place[0] != NAME:
        return place, described(stream, row)
    known = {item.row: item for item in read_corrections(client.folder, Findings())}
    item = known[place[1]]
    if item.target is None:
        return place, described(stream, row)
    return client.replaced.get(place, item.target), dict(item.was)


def _require_words(values: Mapping[str, str]) -> None:
    for name, text in values.items():
        if len(text) > LONGEST_WORDS:
            raise MinerError("records.entry_too_long", name=name, n=len(text), most=LONGEST_WORDS)
        if not text.isprintable():
            raise MinerError("records.entry_unprintable", name=name)


def _checked(client: Client, item: Correction, replaced: Mapping[Any, Any] | None) -> Correction:
    """Return a correction that reads as it should.

    Raises:
        MinerError: it would not be read, changes nothing, or doubles another record.
    """
    findings, zone = Findings(), client.settings.time_zone
    names = columns_to_write(item.stream)
    cells = pd.DataFrame([{name: item.values.get(name) for name in names}], dtype="str")
    glucose = client.streams["glucose"]
    frame = read_added(
        Table(NAME, cells, np.array([1])),
        item.stream,
        findings,
        glucose=glucose,
        zone=zone,
        by_clock=zone is None and not is_zoned(client),
    )
    told = [one for one in findings.items if one.severity is not Severity.NOTE]
    if told or frame.empty:
        raise MinerError("records.entry_unread", of=told[0].as_message())
    now = described(item.stream, frame.to_dict("records")[0])
    if replaced is not None and now == described(item.stream, replaced):
        raise MinerError("records.entry_unchanged")
    others = noted_frame(client, item.stream)
    same = same_records(others, item.stream, now)
    if same:
        row = others.iloc[same[0]].to_dict()
        raise MinerError("records.entry_noted_already", record=shown(item.stream, row))
    return item
