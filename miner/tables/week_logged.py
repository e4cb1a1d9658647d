"""How much of each stream there is on each of some days, by the clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from miner.core.results.week import Logged
from miner.records.client import STREAMS, Client
from miner.tables.clockwork import DAY, HOUR, seconds
from miner.tables.glucose.trace import trace_of

ENOUGH_SHARE = 0.7


def logged_by_day(client: Client, days: Sequence[str]) -> Mapping[str, Logged]:
    """Return each stream's hours or entries on each day.

    Glucose is told in hours that readings stand for, a sampled stream in hours in which the
    tracker measured, a night by the day on which it ends, all else in entries.

    Args:
        client: as read.
        days: ISO dates.
    """
    numbers = np.array(days, dtype="datetime64[D]").astype(np.int64)
    found = {}
    for stream in STREAMS:
        if stream == "glucose":
            trace = trace_of(client)
            hours = _per_day(trace.clock // DAY, trace.minutes / 60, numbers)
            enough = int((hours >= ENOUGH_SHARE * 24).sum())
            found[stream] = Logged("hours", tuple(hours.round(1).tolist()), enough)
        elif stream in client.worn:
            hours = _hours(client.worn[stream], numbers)
            found[stream] = Logged("hours", tuple(hours.round(1).tolist()), int((hours > 0).sum()))
        else:
            frame = client.used(stream)
            name = {"sleep": "end_clock", "meals": "clock"}.get(stream, "start_clock")
            counts = _per_day(seconds(frame[name]) // DAY, np.ones(len(frame)), numbers)
            found[stream] = Logged("entries", tuple(counts.tolist()), int((counts > 0).sum()))
    return found


def _per_day(day: np.ndarray, amount: np.ndarray, days: np.ndarray) -> np.ndarray:
    return np.array([float(amount[day == number].sum()) for number in days])


def _hours(worn: pd.DataFrame, days: np.ndarray) -> np.ndarray:
    start, end = seconds(worn["start_clock"]), seconds(worn["end_clock"])
    inside = [
        np.clip(np.minimum(end, (day + 1) * DAY) - np.maximum(start, day * DAY), 0, None).sum()
        for day in days
    ]
    return np.array(inside, dtype=np.float64) / HOUR
