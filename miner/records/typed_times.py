"""Times as a practitioner types them, placed on the clock that the client's records show."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from miner.core.errors import MinerError
from miner.records.client import Client
from miner.records.columns import COLUMNS
from miner.records.correcting import clock_text
from miner.records.daylight import localise
from miner.records.writing import clock_of, is_zoned, written_times

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
    return str(written_times(np.array([instant]), np.array([clock]), True).iloc[0])


def typed_time(client: Client, typed: str, stream: str) -> str:
    """Return a time as typed in the form in which it is written.

    Raises:
        MinerError: it is no time, no clock showed it, or it lies outside the records.
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
    clocks = [frame[clock_of(frame)] for frame in client.streams.values() if len(frame)]
    first = min(clock.min() for clock in clocks).to_datetime64()
    last = max(clock.max() for clock in clocks).to_datetime64()
    if not first - _MARGIN <= at <= last + _MARGIN:
        raise MinerError(
            "records.typed_time_outside",
            typed=typed,
            first=clock_text(first)[:10],
            last=clock_text(last)[:10],
        )
