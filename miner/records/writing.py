"""The streams as cells to be written: times with their offset, numbers in full."""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner.records.check.sensor import numbered
from miner.records.client import Client, Settings
from miner.records.columns import COLUMNS, MG_DL_PER_MMOL_L
from miner.records.iso8601 import Stamps
from miner.records.stream_file import NO_END, NO_TIME

UNREADABLE = "unreadable"
_CENSORED = {-1: "LO", 1: "HI"}


def is_zoned(client: Client) -> bool:
    """Say whether the times of a client are instants, not only what the clock showed."""
    if client.settings.time_zone is not None:
        return True
    frames = client.streams.values()
    return any((frame.iloc[:, 0] != frame[clock_of(frame)]).any() for frame in frames)


def clock_of(frame: pd.DataFrame) -> str:
    """Return the name of the column with the wall clock of the first time."""
    return "clock" if "clock" in frame.columns else "start_clock"


def cells_of(client: Client, stream: str) -> pd.DataFrame:
    """Return one stream as text: the columns of its own file, those without a value left out.

    Records that would look the same are numbered under ``entry``, so that each is read again.

    Args:
        client: as read.
        stream: one of the six.
    """
    frame, zoned, spec = client.streams[stream], is_zoned(client), COLUMNS[stream]
    pairs = {"start": "start_clock", "end": "end_clock"} if spec.interval else {"time": "clock"}
    cells = {
        name: written_times(frame[name].to_numpy(), frame[clock].to_numpy(), zoned)
        for name, clock in pairs.items()
    }
    if stream == "tags":
        moment = frame["date_only"] & (frame["end"] == frame["start"])
        for name in pairs:
            cells[name] = cells[name].mask(moment, cells[name].str[:10])
    if spec.interval:
        cells["end"] = cells["end"].mask(frame["left_out"] == NO_END, "")
    if stream == "meals":
        dated = frame["left_out"] == NO_TIME
        cells["time"] = cells["time"].mask(dated, cells["time"].str[:10])
    if stream == "glucose":
        value = glucose_column(frame)
        cells[value] = _readings(frame, value)
        frame = as_named(frame, client.settings)
    for name in spec.values:
        if name in frame.columns:
            cells[name] = _texts(frame[name])
    table = pd.DataFrame(cells, dtype="str")
    kept = [name for name in table if name in (*pairs, *spec.needed) or (table[name] != "").any()]
    if stream == "glucose" and value not in kept:
        kept.append(value)
    table = table[kept]
    if stream != "glucose" and table.duplicated().any():
        table = table.assign(entry=table.groupby(list(table)).cumcount().astype("str"))
    return table


def as_named(glucose: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return the readings with the sensors that a file named, without the numbers given here."""
    if not settings.sensor_changes or glucose.empty:
        return glucose
    known = glucose["sensor"] == numbered(glucose, settings)
    return glucose.assign(sensor=glucose["sensor"].mask(known, ""))


def worn_cells(client: Client, stream: str) -> pd.DataFrame:
    """Return when the tracker measured a stream, as text: ``start`` and ``end``."""
    frame, zoned = client.worn[stream], is_zoned(client)
    cells = {
        name: written_times(frame[name].to_numpy(), frame[f"{name}_clock"].to_numpy(), zoned)
        for name in ("start", "end")
    }
    return pd.DataFrame(cells, dtype="str")


def glucose_column(frame: pd.DataFrame) -> str:
    """Return the column in which readings are written: that of the unit they were measured in."""
    return "glucose_mmol_l" if (frame["unit"] == "mmol/L").all() else "glucose_mg_dl"


def _readings(frame: pd.DataFrame, column: str) -> pd.Series[str]:
    scale = MG_DL_PER_MMOL_L if column == "glucose_mmol_l" else 1.0
    text = _texts((frame["glucose"] / scale).round(12))
    for code, word in _CENSORED.items():
        text = text.mask(frame["censored"] == code, word)
    return text.mask(text == "", UNREADABLE)


def _texts(column: pd.Series) -> pd.Series[str]:
    if not pd.api.types.is_numeric_dtype(column):
        return column.fillna("").astype("str")
    return pd.Series([number(value) for value in column], dtype="str")


def number(value: float) -> str:
    """Return a number in full, without a point where it is whole; empty where it is undefined."""
    if np.isnan(value):
        return ""
    return str(int(value)) if float(value).is_integer() else repr(float(value))


def written_times(instant: Stamps, clock: Stamps, zoned: bool) -> pd.Series[str]:
    """Return times as ISO 8601, with the offset where they are instants.

    Args:
        instant: UTC, or the clock where no zone is known (datetime64[ns]).
        clock: wall-clock times.
        zoned: write the offset.
    """
    whole = (clock.astype(np.int64) % 1_000_000_000 == 0).all()
    written = pd.Series(np.datetime_as_string(clock, unit="s" if whole else "ns"), dtype="str")
    if not zoned or written.empty:
        return written
    minutes = ((clock - instant) / np.timedelta64(1, "m")).round().astype(np.int64)
    code, unique = pd.factorize(minutes)
    tails = [f"{'-' if m < 0 else '+'}{abs(m) // 60:02d}:{abs(m) % 60:02d}" for m in unique]
    return written + pd.Series(np.array(tails, dtype=object)[code], dtype="str")
