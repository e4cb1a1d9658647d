"""Clients built by hand, so that tables are tested apart from the reader."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from miner import rulebook
from miner.records.client import Client, LeftOutDay, Settings

TIMES = {"glucose": ("time",), "meals": ("time",)}
NUMBERS = {
    "sleep": ("asleep_min", "deep_min", "rem_min", "light_min", "awake_min", "awakenings"),
    "stress": ("level",),
    "activity": ("steps", "active_min"),
    "meals": ("carbs_g", "protein_g", "fat_g", "fibre_g", "energy_kcal"),
    "tags": (),
}
TEXTS = {
    "sleep": ("kind",),
    "stress": (),
    "activity": ("kind", "intensity"),
    "meals": ("label", "meal", "carbs_level", "protein_level", "fat_level", "fibre_level"),
    "tags": ("tag",),
}


def readings(
    start: str,
    values: Sequence[float] | np.ndarray[Any, Any],
    every_min: float = 5,
    zone: str | None = None,
    **columns: Any,
) -> pd.DataFrame:
    """Return glucose readings a fixed number of minutes apart from a wall-clock start."""
    step = np.arange(len(values)) * np.timedelta64(int(every_min * 60), "s")
    first = pd.Timestamp(start)
    if zone:
        at = pd.DatetimeIndex(first.tz_localize(zone).tz_convert("UTC").tz_localize(None) + step)
        clock = at.tz_localize("UTC").tz_convert(zone).tz_localize(None)
    else:
        at = clock = pd.DatetimeIndex(first + step)
    frame = pd.DataFrame({"time": at, "clock": clock, "glucose": np.asarray(values, dtype=float)})
    frame["censored"] = np.zeros(len(frame), dtype=np.int8)
    return frame.assign(**({"unit": "mg/dL", "sensor": "", "left_out": ""} | columns))


def _stream(name: str, rows: Sequence[Mapping[str, Any]], zone: str | None) -> pd.DataFrame:
    times = TIMES.get(name, ("start", "end"))
    data: dict[str, Any] = {}
    for time in times:
        clocks = pd.Series([pd.Timestamp(row[time]) for row in rows], dtype="datetime64[ns]")
        clock = "clock" if time == "time" else f"{time}_clock"
        data[clock] = clocks
        local = clocks.dt.tz_localize(zone) if zone else clocks
        data[time] = local.dt.tz_convert("UTC").dt.tz_localize(None) if zone else local
    for column in NUMBERS[name]:
        data[column] = pd.Series([row.get(column, np.nan) for row in rows], dtype="float64")
    for column in (*TEXTS[name], "left_out"):
        data[column] = pd.Series([row.get(column, "") for row in rows], dtype="str")
    if name == "tags":
        data["date_only"] = pd.Series([row.get("date_only", False) for row in rows], dtype=bool)
    data["file"] = pd.Series([f"{name}.csv"] * len(rows), dtype="str")
    data["row"] = pd.Series(range(2, len(rows) + 2), dtype="int64")
    return pd.DataFrame(data).sort_values(times[0], kind="stable", ignore_index=True)


def build(
    glucose: pd.DataFrame | None = None,
    *,
    zone: str | None = None,
    worn: Mapping[str, Sequence[tuple[str, str]]] | None = None,
    left_out: Sequence[LeftOutDay] = (),
    unit: str = "ns",
    **given: Any,
) -> Client:
    """Return a client; streams as lists of rows by wall clock, anything else is a setting."""
    frame = readings("2026-03-01", []) if glucose is None else glucose
    frame = frame.assign(file="glucose.csv", row=np.arange(2, len(frame) + 2))
    streams = {"glucose": frame}
    for name in ("sleep", "stress", "activity", "meals", "tags"):
        rows = [{"end": row.get("start"), **row} for row in given.pop(name, [])]
        streams[name] = _stream(name, rows, zone)
    wear = {
        name: _stream("stress", [{"start": a, "end": b} for a, b in spans], zone)
        for name, spans in (worn or {}).items()
    }
    for table in (*streams.values(), *wear.values()):
        for column in table.select_dtypes("datetime").columns:
            table[column] = table[column].astype(f"datetime64[{unit}]")
    settings: dict[str, Any] = {
        "code": "client-01",
        "time_zone": zone,
        "range": (70.0, 140.0),
        "sensor_changes": (),
        "intake": {},
        "left_out": tuple(left_out),
        "rest_days": ("sat", "sun"),
        "pressure_lows": (),
        "calm": False,
        "pooled": None,
        "display_unit": "mg/dL",
        "rank_unit": "day",
        "primary_outcome": None,
        "synonyms": {},
    }
    return Client(Path("client-01"), Settings(**(settings | given)), streams, wear, (), "hash")


def nights(
    first: str, count: int, start: str = "23:00", end: str = "07:00", **columns: Any
) -> list[dict[str, Any]]:
    """Return sleep rows, one a night, the first waking on a date."""
    rows = []
    for k in range(count):
        wake = pd.Timestamp(f"{first} {end}") + pd.Timedelta(days=k)
        asleep = pd.Timestamp(f"{first} {start}") + pd.Timedelta(days=k)
        if asleep >= wake:
            asleep -= pd.Timedelta(days=1)
        rows.append({"start": asleep, "end": wake, **columns})
    return rows


@pytest.fixture(scope="session")
def rules() -> rulebook.RuleBook:
    return rulebook.load()


@pytest.fixture(scope="session")
def make() -> Callable[..., Client]:
    return build


@pytest.fixture(scope="session")
def sensed() -> Callable[..., pd.DataFrame]:
    return readings


@pytest.fixture(scope="session")
def slept() -> Callable[..., list]:
    return nights
