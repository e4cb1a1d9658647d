"""Takes a FHIR SampledData apart: one value every so many milliseconds from a start.

Source: HL7 FHIR R4 (4.0.1), SampledData: value = origin + factor x datum; E is an error, L and U
are below and above what can be detected.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from math import isfinite
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from miner.records.gathered import inside, minutes, words
from miner.records.iso8601 import PIECE

_CENSORED = {"L": "LO", "U": "HI"}
_LONGEST_GAP_MIN = 1440
_NUMBER = r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$"


@dataclass(frozen=True, slots=True)
class Sampled:
    """A series: times (ISO 8601) and values, numbers apart from LO and HI, and their unit."""

    times: pd.Series[str]
    values: pd.Series[float]
    censored_times: pd.Series[str]
    censored: pd.Series[str]
    unit: str


def series(data: Any, start: str, zone: str | None) -> Sampled | None:
    """Return the samples, or None where something it needs is not there or cannot be used.

    Args:
        data: the SampledData.
        start: when the first sample was taken, ISO 8601.
        zone: the client's zone, or None.
    """
    step = minutes(data.get("period"), "ms") if isinstance(data, dict) else None
    if step is None and isinstance(data, dict):
        step = minutes(data.get("interval"), data.get("intervalUnit"))
    origin, scale = _number(inside(data, "origin", "value")), _number(inside(data, "factor"), 1.0)
    one = words(inside(data, "dimensions")) in ("", "1")
    if step is None or not 0 < step <= _LONGEST_GAP_MIN or origin is None or scale is None:
        return None
    first = _moment(start, zone)
    if not one or first is None:
        return None
    cells = pc.list_flatten(pc.utf8_split_whitespace(pa.array([words(inside(data, "data"))])))
    cells = cells.filter(pc.not_equal(cells, ""))
    number = _mask(pc.match_substring_regex(cells, _NUMBER))
    censored = _mask(pc.is_in(cells, value_set=pa.array(list(_CENSORED))))
    if not (number | censored | _mask(pc.equal(cells, "E"))).all():
        return None
    values = pc.cast(cells.filter(pa.array(number)), pa.float64()).to_numpy(zero_copy_only=False)
    unit = words(inside(data, "origin", "code")) or words(inside(data, "origin", "unit"))
    marks = pd.Series(cells.filter(pa.array(censored)).to_pylist(), dtype="str")
    return Sampled(
        _times(first, step, np.flatnonzero(number)),
        pd.Series(np.round(origin + scale * values, 9)),
        _times(first, step, np.flatnonzero(censored)),
        marks.map(_CENSORED).astype("str"),
        unit,
    )


def _moment(start: str, zone: str | None) -> tuple[np.datetime64, str] | None:
    """Return the first time and the offset to write behind it; in a known zone it is in UTC."""
    if len(start) <= len("2026-03-02"):
        return None
    try:
        moment = datetime.fromisoformat(start)
        if zone is not None:
            moment = moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))
            moment = moment.astimezone(UTC)
    except (ValueError, OverflowError):
        return None
    offset = "" if moment.tzinfo is None else "Z" if zone is not None else moment.isoformat()[-6:]
    return np.datetime64(moment.replace(tzinfo=None), "ms"), offset


def _times(first: tuple[np.datetime64, str], step_min: float, at: np.ndarray) -> pd.Series[str]:
    """Return times as text, made piece by piece."""
    moment, offset = first
    behind, nothing = (pa.scalar(each, pa.large_string()) for each in (offset, ""))
    pieces = []
    for begin in range(0, max(len(at), 1), PIECE):
        steps = np.round(at[begin : begin + PIECE] * step_min * 60_000)
        stamps = pa.array(moment + steps.astype("timedelta64[ms]"), pa.timestamp("ms"))
        text = pc.cast(stamps, pa.large_string())
        pieces.append(pc.binary_join_element_wise(text, behind, nothing))
    return pd.Series(pd.array(pa.chunked_array(pieces), dtype="str"))


def _mask(found: pa.BooleanArray) -> np.ndarray:
    return np.asarray(found.to_numpy(zero_copy_only=False), dtype=bool)


def _number(value: Any, otherwise: float | None = None) -> float | None:
    if value is None:
        return otherwise
    try:
        number = float(words(value))
    except ValueError:
        return None
    return number if isfinite(number) else None
