"""Numbers and times as text, written so that they are read as the same."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from miner.records.text_columns import clock_of

if TYPE_CHECKING:
    from miner.records.client import Client
    from miner.records.place.times import Stamps


def is_zoned(client: Client) -> bool:
    """Say whether the times of a client are instants, not only what the clock showed."""
    if client.settings.time_zone is not None:
        return True
    frames = client.streams.values()
    return any((frame.iloc[:, 0] != clock_of(frame)).any() for frame in frames)


def number(value: float) -> str:
    """Return a number in full, without a point where it is whole; empty where it is undefined."""
    if np.isnan(value):
        return ""
    return str(int(value)) if float(value).is_integer() else repr(float(value))


def written_times(instant: Stamps, clock: Stamps, *, zoned: bool) -> pd.Series[str]:
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


def clock_text(clock: object) -> str:
    """Return a wall-clock time as ISO 8601, to the minute where it is whole."""
    text = np.datetime_as_string(np.datetime64(clock, "s"))  # type: ignore[call-overload]
    return str(text).removesuffix(":00")
