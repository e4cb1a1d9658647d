"""Everything recorded in a stretch of time, in words, with the file and row of each."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np

from miner.core.results import Place
from miner.core.results.morning import Noted
from miner.records.client import Client
from miner.records.columns import STILL
from miner.tables.clockwork import Times, seconds


def noted_between(client: Client, begin: int, finish: int) -> tuple[Noted, ...]:
    """Return what was recorded between two instants, in the order of its start.

    Rows that only count steps are left aside; of others everything that overlaps is returned.

    Args:
        client: as read.
        begin: instant, seconds since 1970-01-01.
        finish: instant, not included.
    """
    found: list[Noted] = []
    for stream in ("sleep", "stress", "activity", "meals", "tags"):
        frame = client.used(stream)
        one = "time" in frame.columns
        start = seconds(frame["time" if one else "start"])
        end = start if one else seconds(frame["end"])
        inside = (start < finish) & (np.maximum(end, start + 1) > begin)
        places = np.flatnonzero(inside)
        rows = frame.iloc[places].to_dict("records")
        for row, whole in zip(rows, _minutes(start, end)[places].tolist(), strict=True):
            moved = float(row.get("active_min", np.nan))
            length = whole if np.isnan(moved) else moved
            text = _words(stream, row, length)
            if text:
                first = row["clock" if one else "start_clock"]
                last = row["clock" if one else "end_clock"]
                place = str(row["file"]), int(row["row"])
                origin = client.replaced.get(place)
                dated = bool(row.get("date_only", False))
                shown = 10 if dated else 16
                found.append(
                    Noted(
                        stream,
                        _minute(first)[:shown],
                        _minute(last)[:shown],
                        text,
                        *place,
                        Place(*origin) if origin else None,
                        dated,
                        str(row["kind"] or stream) if stream == "activity" else stream,
                        float(length),
                        _own(stream, row),
                    )
                )
    return tuple(sorted(found, key=lambda item: (item.start, item.stream, item.row)))


def _minutes(start: Times, end: Times) -> np.ndarray:
    return np.asarray((end - start) / 60, dtype=np.float64)


def _minute(clock: object) -> str:
    return str(np.datetime64(clock, "m"))  # type: ignore[call-overload]


def _words(stream: str, row: Mapping[Hashable, Any], minutes: float) -> str:
    if stream == "meals":
        told = [f"{row[name]:.0f} g {word}" for name, word in _GRAMS if row[name] == row[name]]
        levels = [f"{row[name]} {word}" for name, word in _LEVELS if row[name]]
        return ", ".join([_own(stream, row), *(told or levels)])
    if stream == "tags":
        return f"tag {_own(stream, row)}"
    if stream == "activity":
        kind = str(row["kind"])
        return "" if kind in ("steps", STILL) else f"{kind or 'activity'}, {minutes:.0f} min"
    if stream == "stress":
        return f"stress, {minutes:.0f} min"
    kind = "nap" if row["kind"] == "nap" else "sleep"
    return f"{kind}, {minutes / 60:.1f} h"


def _own(stream: str, row: Mapping[Hashable, Any]) -> str:
    """Return what a client called a meal or a tag."""
    if stream == "meals":
        return str(row["label"] or row["meal"] or "a meal")
    return str(row["tag"]) if stream == "tags" else ""


_GRAMS = (("carbs_g", "carbohydrate"), ("protein_g", "protein"))
_LEVELS = (("carbs_level", "carbohydrate"), ("protein_level", "protein"))


def last_logged(client: Client, until: int) -> int | None:
    """Return the wall clock of the newest meal or tag before a wall clock, in seconds, or None."""
    clocks = [
        seconds(client.used("meals")["clock"]),
        seconds(client.used("tags")["start_clock"]),
    ]
    every = np.concatenate(clocks)
    every = every[every < until]
    return int(every.max()) if every.size else None
