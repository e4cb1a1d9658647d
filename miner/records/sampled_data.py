"""Takes a FHIR SampledData apart: one value every so many milliseconds from a start.

Source: HL7 FHIR R4 (4.0.1), SampledData: value = origin + factor x datum; E is an error, L and U
are below and above what can be detected.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Any

from miner.records.gathered import inside, minutes, shifted, words

_CENSORED = {"L": "LO", "U": "HI"}
_LONGEST_GAP_MIN = 1440


@dataclass(frozen=True, slots=True)
class Sampled:
    """A series: time and value of each sample, both as text, and the unit of the values."""

    samples: tuple[tuple[str, str], ...]
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
    if not one or len(start) <= len("2026-03-02"):
        return None
    found = []
    for at, datum in enumerate(words(inside(data, "data")).split()):
        if datum == "E":
            continue
        time = shifted(start, at * step, zone)
        number = _number(datum)
        if time is None or (number is None and datum not in _CENSORED):
            return None
        value = _CENSORED[datum] if number is None else f"{origin + scale * number:.12g}"
        found.append((time, value))
    unit = words(inside(data, "origin", "code")) or words(inside(data, "origin", "unit"))
    return Sampled(tuple(found), unit)


def _number(value: Any, otherwise: float | None = None) -> float | None:
    if value is None:
        return otherwise
    try:
        number = float(words(value))
    except ValueError:
        return None
    return number if isfinite(number) else None
