"""From what a practitioner types to a correction: which record is meant, and what it says now.

Times are typed on the wall clock; a record is meant by its time, its place, or what it replaced.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from miner.core.messages import MinerError, Severity
from miner.records.columns import COLUMNS
from miner.records.findings import Findings
from miner.records.place.times import localise
from miner.records.read.table_file import RawTable
from miner.records.stream_file import read_added
from miner.records.text_columns import clock_of
from miner.records.write.as_text import clock_text, is_zoned, written_times
from miner.records.write.corrections import (
    CORRECTED,
    NAME,
    Correction,
    Place,
    columns_to_write,
    described,
    read_corrections,
    same_records,
)

if TYPE_CHECKING:
    from miner.records.client import Client

WHEN = re.compile(r"(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d)?)(Z|[+-]\d\d:\d\d)?)?")
"""A date, perhaps with a time of day, perhaps with an offset."""

_MARGIN = np.timedelta64(1, "D")


def times_of(client: Client, stream: str, row: Mapping[Any, Any]) -> dict[str, str]:
    """Return the times of a record as they are written, so that they are read as the same."""
    out = {}
    for name in COLUMNS[stream].times:
        if name == "end" and row["end"] == row["start"]:
            continue
        clock = row[f"{name}_clock" if COLUMNS[stream].interval else "clock"]
        out[name] = _written(client, np.datetime64(clock, "ns"), np.datetime64(row[name], "ns"))
    return out


def _written(client: Client, clock: np.datetime64, instant: np.datetime64) -> str:
    """Return a time as the clock showed it, with its offset where that alone does not place it."""
    zone = client.settings.time_zone
    plain = clock == instant
    if zone is not None:
        placed = localise(np.array([clock]), zone)
        plain = bool(placed.instant[0] == instant) and not placed.repeated[0]
    if plain:
        return clock_text(clock)
    return str(written_times(np.array([instant]), np.array([clock]), zoned=True).iloc[0])


def typed_time(client: Client, typed: str, stream: str) -> str:
    """Return a time as typed in the form in which it is written.

    Raises:
        MinerError: it is not a time, no clock showed it, or it is outside the records.
    """
    when = WHEN.fullmatch(typed.strip())
    try:
        if when is None or (when[2] is None and stream != "tags"):
            raise ValueError(typed)
        clock = datetime.fromisoformat(f"{when[1]}T{when[2] or '12:00'}")
    except ValueError as error:
        raise MinerError("records.no_typed_time", typed=typed[:60]) from error
    at = np.datetime64(clock, "ns")
    _require_near(client, at, typed)
    if when[3]:
        if client.settings.time_zone is None and not is_zoned(client):
            raise MinerError("records.typed_offset", typed=typed)
        return f"{clock_text(at)}{when[3]}"
    return _placed(client, at, typed)


def _placed(client: Client, at: np.datetime64, typed: str) -> str:
    zone = client.settings.time_zone
    if zone is None:
        if not is_zoned(client):
            return clock_text(at)
        glucose = client.streams["glucose"]
        nearest = glucose.iloc[int((glucose["clock"] - pd.Timestamp(at)).abs().to_numpy().argmin())]
        ahead = nearest["clock"] - nearest["time"]
        return _written(client, at, np.datetime64(pd.Timestamp(at) - ahead, "ns"))
    placed = localise(np.array([at]), zone)
    if placed.skipped[0]:
        raise MinerError("records.typed_time_skipped", typed=typed, zone=zone)
    if placed.repeated[0]:
        first, second = (
            str(pd.Timestamp(at).tz_localize(zone, ambiguous=summer).isoformat(timespec="minutes"))
            for summer in (True, False)
        )
        raise MinerError("records.typed_time_twice", typed=typed, first=first, second=second)
    return clock_text(at)


def _require_near(client: Client, at: np.datetime64, typed: str) -> None:
    clocks = [clock_of(frame) for frame in client.streams.values() if len(frame)]
    first = min(clock.min() for clock in clocks).to_datetime64()
    last = max(clock.max() for clock in clocks).to_datetime64()
    if not first - _MARGIN <= at <= last + _MARGIN:
        begins, ends = clock_text(first)[:10], clock_text(last)[:10]
        raise MinerError("records.typed_time_outside", typed=typed, first=begins, last=ends)


_WHERE = re.compile(r"(.+):([0-9]{1,9})")
_SHOWN = 6


def find_record(client: Client, which: str, stream: str | None) -> tuple[str, dict[Any, Any]]:
    """Return the record that is meant, by its time or by its file and row, and its stream.

    Args:
        client: as read.
        which: ``2026-02-03 13:06``, ``2026-02-03`` where that day holds one, or ``meals.csv:12``.
        stream: meals or tags, or None for either.

    Raises:
        MinerError: there is none, or there are several.
    """
    names = CORRECTED if stream is None else (stream,)
    frames = [(name, noted_frame(client, name)) for name in names]
    found = [
        (name, row)
        for name, frame in frames
        for row in frame[_meant(client, frame, which.strip())].to_dict("records")
    ]
    if len(found) == 1:
        return found[0]
    if not found:
        raise _none(which, frames)
    listed = "; ".join(shown(name, row) for name, row in found[:_SHOWN])
    meant = {"file_meant": found[0][1]["file"], "row_meant": found[0][1]["row"]}
    code = "records.several_records_meant"
    raise MinerError(code, which=which, count=len(found), listed=listed, **meant)


def noted_frame(client: Client, stream: str) -> pd.DataFrame:
    """Return a stream as it was noted, tags not joined."""
    frame = client.streams[stream]
    return frame.assign(tag=frame["noted"]) if stream == "tags" else frame


def shown(stream: str, row: Mapping[Any, Any]) -> str:
    """Return a record in a few words, with where it is."""
    told = described(stream, row)
    when = str(told["start" if stream == "tags" else "time"]).replace("T", " ")
    words = told.get("tag" if stream == "tags" else "label") or told.get("meal") or "a meal"
    return f"{when} {words} ({row['file']}:{row['row']})"


def _meant(client: Client, frame: pd.DataFrame, which: str) -> list[bool]:
    """Say of each record whether it is meant by its time, its place, or what it replaced.

    Raises:
        MinerError: these words name no record.
    """
    when, where = WHEN.fullmatch(which), _WHERE.fullmatch(which)
    if when is not None:
        clock = clock_of(frame)
        told = clock.dt.strftime("%Y-%m-%d %H:%M" if when[2] else "%Y-%m-%d")
        wanted = f"{when[1]} {when[2][:5]}" if when[2] else when[1]
        return [text == wanted for text in told]
    if where is None:
        raise MinerError("records.names_no_record", which=which[:60])
    place = (where[1], int(where[2]))
    own = zip(frame["file"].astype(str), frame["row"].astype(int), strict=True)
    return [place in (here, client.replaced.get(here)) for here in own]


def _none(which: str, frames: list[tuple[str, pd.DataFrame]]) -> MinerError:
    when = WHEN.fullmatch(which.strip())
    at = pd.to_datetime(f"{when[1]} {when[2] or '12:00'}" if when else "", errors="coerce")
    away = [
        (abs(clock - at), shown(name, row))
        for name, frame in (frames if not pd.isna(at) else [])
        for clock, row in zip(clock_of(frame), frame.to_dict("records"), strict=True)
    ]
    streams = " or ".join(name for name, _ in frames)
    if not away:
        return MinerError("records.no_record", which=which[:60], streams=streams)
    nearest = min(away)[1]
    return MinerError("records.no_record_near", which=which[:60], streams=streams, nearest=nearest)


LONGEST_WORDS = 200


@dataclass(frozen=True, slots=True)
class DiaryEntry:
    """What a practitioner says of a meal or a tag.

    Attributes:
        stream: meals or tags; None where that is known from the record it is about.
        at, end: when it began and ended, as typed; None where that is not said.
        values: the stream's columns that are said, as text; an empty text is "not known".
    """

    stream: str | None = None
    at: str | None = None
    end: str | None = None
    values: Mapping[str, str] = field(default_factory=dict)


def addition(client: Client, entry: DiaryEntry, entered: str) -> Correction:
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


def mending(client: Client, which: str, entry: DiaryEntry, entered: str) -> Correction:
    """Return the row that puts a record in place of another.

    Raises:
        MinerError: no record is meant, or several are; or what is said cannot be read, changes
            nothing, or is there already.
    """
    _require_words(entry.values)
    stream, row = find_record(client, which, entry.stream)
    known = columns_to_write(stream)
    strange = next((name for name in entry.values if name not in known), None)
    if strange:
        code = "records.entry_of_other_stream"
        raise MinerError(code, which=which, stream=stream, column=strange, known=known)
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
        RawTable(NAME, cells, np.array([1])),
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
