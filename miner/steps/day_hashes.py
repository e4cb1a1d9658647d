"""Hashes of a client's days and settings, by which a later look tells what was changed."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import pandas as pd

from miner.records.client import Client

BY_SETTINGS = ("file", "row", "left_out", "sensor", "tag")
"""Columns of a stream that no record holds, or that settings change."""

SAID_ALONE = ("code", "intake", "left_out", "calm", "pooled", "display_unit", "rank_unit")


def settings_hash(client: Client) -> str:
    """Return a hash of the settings that change what a table holds or how it is ranked."""
    said = asdict(client.settings)
    kept = {name: said[name] for name in sorted(said) if name not in SAID_ALONE}
    return digest(repr({name: _in_order(value) for name, value in kept.items()}))


def days_left_out(client: Client) -> list[str]:
    """Return the days that the client's settings leave out, ISO, in order."""
    return sorted(item.day.isoformat() for item in client.settings.left_out)


def day_hashes(client: Client, days: Sequence[str]) -> dict[str, str]:
    """Return a hash of the records of each date, corrections included, whatever file holds them.

    What the settings make of a record (whose sensor, which word stands for a tag, what is left
    out) is no part of it.

    Args:
        client: as read.
        days: ISO dates, on the wall clock; one without any record has the hash of nothing.
    """
    known = client.derived("day hashes", None, lambda: _of_all_days(client))
    nothing = _short([])
    return {day: known.get(day, nothing) for day in days}


def _of_all_days(client: Client) -> dict[str, str]:
    told: dict[str, list[str]] = {}
    for name, frame in client.streams.items():
        own = frame.drop(columns=[each for each in BY_SETTINGS if each in frame])
        clock = frame["clock" if "clock" in frame else "start_clock"].to_numpy()
        dates, days_of = np.unique(clock.astype("datetime64[D]"), return_inverse=True)
        # added up, so that the order of the rows is no part of it
        sums = np.zeros(len(dates), dtype=np.uint64)
        rows = pd.util.hash_pandas_object(own, index=False).to_numpy(np.uint64)
        np.add.at(sums, days_of, rows)
        for day, total in zip(dates.astype(str).tolist(), sums.tolist(), strict=True):
            told.setdefault(day, []).append(f"{name} {total:x}")
    return {day: _short(found) for day, found in told.items()}


def last_reading(client: Client) -> str:
    """Return the date of the last reading, ISO."""
    return str(client.streams["glucose"]["clock"].max())[:10]


def digest(text: str) -> str:
    """Return sixteen hexadecimal digits of the SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _short(found: list[str]) -> str:
    return digest("\n".join(found))[:8]


def _in_order(value: Any) -> Any:
    return sorted(value.items()) if isinstance(value, dict) else value
