"""The one meal or tag that is meant by a time, or by a file and a row."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import pandas as pd

from miner.core.errors import MinerError
from miner.records.client import Client
from miner.records.correcting import described
from miner.records.corrections import CORRECTED
from miner.records.typed_times import WHEN
from miner.records.writing import clock_of

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
    raise _several(which, found) if found else _none(which, frames)


def noted_frame(client: Client, stream: str) -> pd.DataFrame:
    """Return a stream as it was noted, tags not joined."""
    frame = client.streams[stream]
    return frame.assign(tag=frame["noted"]) if stream == "tags" else frame


def shown(stream: str, row: Mapping[Any, Any]) -> str:
    """Return a record in a few words, with where it stands."""
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
        clock = frame[clock_of(frame)]
        told = clock.dt.strftime("%Y-%m-%d %H:%M" if when[2] else "%Y-%m-%d")
        wanted = f"{when[1]} {when[2][:5]}" if when[2] else when[1]
        return [text == wanted for text in told]
    if where is None:
        raise MinerError("records.names_no_record", which=which[:60])
    place = (where[1], int(where[2]))
    own = zip(frame["file"].astype(str), frame["row"].astype(int), strict=True)
    return [place in (here, client.replaced.get(here)) for here in own]


def _several(which: str, found: list[tuple[str, dict[Any, Any]]]) -> MinerError:
    listed = "; ".join(shown(name, row) for name, row in found[:_SHOWN])
    _, first = found[0]
    return MinerError(
        "records.several_records_meant",
        which=which,
        count=len(found),
        listed=listed,
        file_meant=first["file"],
        row_meant=first["row"],
    )


def _none(which: str, frames: list[tuple[str, pd.DataFrame]]) -> MinerError:
    when = WHEN.fullmatch(which.strip())
    at = pd.to_datetime(f"{when[1]} {when[2] or '12:00'}" if when else "", errors="coerce")
    away = [
        (abs(row[clock_of(frame)] - at), shown(name, row))
        for name, frame in frames
        for row in (frame.to_dict("records") if not pd.isna(at) else [])
    ]
    streams = " or ".join(name for name, _ in frames)
    if not away:
        return MinerError("records.no_record", which=which[:60], streams=streams)
    nearest = min(away)[1]
    return MinerError("records.no_record_near", which=which[:60], streams=streams, nearest=nearest)
