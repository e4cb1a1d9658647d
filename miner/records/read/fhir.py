"""Reads Observations of HL7 FHIR R4: readings, sleep, steps, exercise, and this program's own.

Source: HL7 FHIR R4 (4.0.1), Observation and SampledData; LOINC codes of the HL7 guide on
continuous glucose monitoring.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from math import isfinite
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from miner.core.messages import Severity
from miner.records.read.gathered import (
    AVERAGE,
    NO_NUMBER,
    NO_VALUE,
    NOT_KNOWN,
    NOT_PLACED,
    OTHER_SPECIMEN,
    WRONG_UNIT,
    Gathered,
    Told,
    inside,
    minutes,
    shifted,
    words,
)

_CENSORED = {"L": "LO", "U": "HI"}
_LONGEST_GAP_MIN = 1440
_NUMBER = r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$"


Samples = list[tuple["pd.Series[str]", "pd.Series[Any]"]]
"""Times (ISO 8601) and values: first of the numbers, then of LO and HI."""


def series(data: Any, start: str, zone: str | None) -> tuple[Samples, str] | None:
    """Return the samples and their unit, or None where something is missing or cannot be used.

    Args:
        data: the SampledData.
        start: when the first sample was taken, ISO 8601.
        zone: the client's zone, or None.
    """
    step = minutes(inside(data, "period"), "ms")
    if step is None:
        step = minutes(inside(data, "interval"), inside(data, "intervalUnit"))
    origin, scale = _number(inside(data, "origin", "value")), _number(inside(data, "factor"), 1.0)
    one, first = words(inside(data, "dimensions")) in ("", "1"), _moment(start, zone)
    if step is None or not 0 < step <= _LONGEST_GAP_MIN or origin is None or scale is None:
        return None
    if not one or first is None:
        return None
    split = pc.list_flatten(pc.utf8_split_whitespace(pa.array([words(inside(data, "data"))])))
    cells = pd.Series(pd.array(split.filter(pc.not_equal(split, "")), dtype="str"))
    number = cells.str.match(_NUMBER).to_numpy(dtype=bool)
    censored = cells.isin(list(_CENSORED)).to_numpy(dtype=bool)
    if not (number | censored | (cells == "E").to_numpy(dtype=bool)).all():
        return None
    values = cells[number].astype("float64").reset_index(drop=True)
    marks = cells[censored].map(_CENSORED).astype("str").reset_index(drop=True)
    unit = words(inside(data, "origin", "code")) or words(inside(data, "origin", "unit"))
    return [
        (_times(first, step, np.flatnonzero(number)), (origin + scale * values).round(9)),
        (_times(first, step, np.flatnonzero(censored)), marks),
    ], unit


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
    """Return times as text."""
    steps = np.round(at * step_min * 60_000).astype("timedelta64[ms]")
    text = pc.cast(pa.array(first[0] + steps, pa.timestamp("ms")), pa.large_string())
    offset, nothing = (pa.scalar(each, pa.large_string()) for each in (first[1], ""))
    return pd.Series(pd.array(pc.binary_join_element_wise(text, offset, nothing), dtype="str"))


def _number(value: Any, otherwise: float | None = None) -> float | None:
    if value is None:
        return otherwise
    try:
        number = float(words(value))
    except ValueError:
        return None
    return number if isfinite(number) else None


LOINC = "http://loinc.org"
STREAM_SYSTEM, COLUMN_SYSTEM = "urn:miner:stream", "urn:miner:column"
MOLAR = "105272-9"
READING = {"99504-3", MOLAR, "14745-4"}
BLOOD = {"41653-7", "2339-0", "15074-8"}
AVERAGES = {"97507-8"}
SLEEP = {
    "93832-4": "asleep_min",
    "93831-6": "deep_min",
    "93830-8": "light_min",
    "93829-0": "rem_min",
}
STEPS = {"55423-8", "41950-7"}
EXERCISE = "55411-3"
_LOINC_NAMES = {LOINC, "https://loinc.org", "urn:oid:2.16.840.1.113883.6.1"}
_KNOWN = READING | BLOOD | AVERAGES | set(SLEEP) | STEPS | {EXERCISE}
_NOT_VALID = {"entered-in-error", "cancelled"}
_MODIFIERS = ("modifierExtension", "implicitRules")
_WITHDRAWN: Told = (Severity.LEFT_OUT, "observations_withdrawn")
_MODIFIED: Told = (Severity.LEFT_OUT, "observations_modified")


def read_observation(resource: dict[str, Any], row: int, out: Gathered) -> None:
    """Put one Observation, with its components, into the tables it belongs to."""
    status = words(resource.get("status"))
    if status.casefold() in _NOT_VALID:
        out.leave(row, _WITHDRAWN, status)
        return
    if any(item.get(key) for item in (resource, *_components(resource)) for key in _MODIFIERS):
        out.leave(row, _MODIFIED, _url(resource))
        return
    own = [code for system, code in codes(resource) if system == STREAM_SYSTEM]
    if own:
        _own(own[0], resource, row, out)
        return
    found = False
    for item in (resource, *_components(resource)):
        for system, code in codes(item):
            if system in _LOINC_NAMES and code in _KNOWN:
                found = True
                _known(code, item, resource, row, out)
                break
    if not found:
        shown = next((code for _, code in codes(resource)), "no code")
        out.leave(row, NOT_KNOWN, shown)


def _url(resource: dict[str, Any]) -> str:
    listed = resource.get("modifierExtension")
    first = listed[0] if isinstance(listed, list) and listed else {}
    return words(inside(first, "url")) or words(resource.get("implicitRules"))


def codes(item: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield system and code of each coding of an Observation or a component."""
    listed = inside(item, "code", "coding")
    for coding in listed if isinstance(listed, list) else []:
        yield words(inside(coding, "system")), words(inside(coding, "code"))


def _components(resource: dict[str, Any]) -> list[dict[str, Any]]:
    listed = resource.get("component")
    return [each for each in listed if isinstance(each, dict)] if isinstance(listed, list) else []


def _known(
    code: str, item: dict[str, Any], resource: dict[str, Any], row: int, out: Gathered
) -> None:
    start, end = _effective(resource)
    if code in AVERAGES:
        out.leave(row, AVERAGE, code)
    elif code in BLOOD:
        out.leave(row, OTHER_SPECIMEN, code)
    elif item.get("dataAbsentReason") is not None and not _has_value(item):
        out.leave(row, NO_VALUE, _reason(item))
    elif code in READING:
        _reading(item, start, end, row, out, words(inside(resource, "device", "display")))
    elif code in SLEEP:
        _length(SLEEP[code], item, start, end, row, out)
    elif code in STEPS:
        value = words(inside(item, "valueQuantity", "value")) or words(item.get("valueInteger"))
        if start and end and value:
            out.put("activity", row, start=start, end=end, kind="steps", steps=value)
        else:
            out.leave(row, NOT_PLACED if value else NO_NUMBER)
    else:
        _exercise(item, start, end, row, out)


def _has_value(item: dict[str, Any]) -> bool:
    return any(key.startswith("value") for key in item)


def _reason(item: dict[str, Any]) -> str:
    coded = inside(item, "dataAbsentReason", "coding")
    first = coded[0] if isinstance(coded, list) and coded else {}
    return words(inside(first, "code")) or words(inside(item, "dataAbsentReason", "text"))


def _effective(resource: dict[str, Any]) -> tuple[str, str]:
    moment = words(resource.get("effectiveDateTime")) or words(resource.get("effectiveInstant"))
    period = resource.get("effectivePeriod")
    return moment or words(inside(period, "start")), words(inside(period, "end"))


def _reading(
    item: dict[str, Any], start: str, end: str, row: int, out: Gathered, sensor: str
) -> None:
    if "valueSampledData" in item:
        found = series(item["valueSampledData"], start, out.zone)
        if found is None:
            out.leave(row, NO_NUMBER, "valueSampledData")
            return
        for times, values in found[0]:
            out.samples(row, times, values, found[1], sensor)
    elif end and end != start:
        out.leave(row, AVERAGE, f"{start} to {end}")
    else:
        value, unit = _value(item)
        if value:
            out.glucose(row, start, value, unit, sensor)
        else:
            out.leave(row, NO_NUMBER)


def _value(item: dict[str, Any]) -> tuple[str, str]:
    """Return the value as a cell (a number, or below or above one) and its unit."""
    if words(item.get("valueString")):
        molar = any(code == MOLAR for _, code in codes(item))
        return words(item["valueString"]), "mmol/L" if molar else "mg/dL"
    quantity = item.get("valueQuantity")
    value = words(inside(quantity, "value"))
    sign = words(inside(quantity, "comparator"))[:1]
    unit = words(inside(quantity, "code")) or words(inside(quantity, "unit"))
    return (f"{sign}{value}" if value and sign in ("<", ">") else value), unit


def _length(
    column: str, item: dict[str, Any], start: str, end: str, row: int, out: Gathered
) -> None:
    value, unit = _value(item)
    length = minutes(value, unit)
    if length is None:
        out.leave(row, WRONG_UNIT if value else NO_NUMBER, f"{value} {unit}".strip())
    elif not (start and end):
        out.leave(row, NOT_PLACED, start)
    else:
        out.put("sleep", row, start=start, end=end, **{column: repr(length)})


def _exercise(item: dict[str, Any], start: str, end: str, row: int, out: Gathered) -> None:
    if not end:
        length = minutes(*_value(item))
        end = (shifted(start, length, out.zone) or "") if length is not None else ""
    if start and end:
        out.put("activity", row, start=start, end=end, kind="exercise")
    else:
        out.leave(row, NOT_PLACED, start)


def _own(stream: str, resource: dict[str, Any], row: int, out: Gathered) -> None:
    start, end = _effective(resource)
    cells = {}
    for component in _components(resource):
        for system, code in codes(component):
            if system == COLUMN_SYSTEM:
                cells[code] = words(component.get("valueString")) or _value(component)[0]
    known = OWN_COLUMNS.get(stream)
    if known is None or not set(cells) <= {*known, "entry"}:
        out.leave(row, NOT_KNOWN, stream)
        return
    end = end if "effectivePeriod" in resource else start
    timed = {"time": start} if stream == "meals" else {"start": start, "end": end}
    out.put(stream, row, **timed, **cells)


OWN_COLUMNS = {
    "sleep": ("asleep_min", "deep_min", "rem_min", "light_min", "awake_min", "awakenings", "kind"),
    "stress": ("level",),
    "activity": ("kind", "intensity", "steps", "active_min"),
    "meals": (
        *("label", "meal", "carbs_g", "protein_g", "fat_g", "fibre_g", "energy_kcal"),
        *("carbs_level", "protein_level", "fat_level", "fibre_level"),
    ),
    "tags": ("tag",),
}
