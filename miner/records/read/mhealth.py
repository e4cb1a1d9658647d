"""Reads IEEE 1752.1 and Open mHealth data points: glucose, sleep, steps, activity, stress.

Source: Open mHealth schemas (snapshot of August 2024) and IEEE 1752.1; a body is known by its own
names, so either namespace and the deprecated schemas are read.
"""

from __future__ import annotations

from typing import Any

from miner.core.messages import message
from miner.records.read.gathered import (
    AVERAGE,
    NO_NUMBER,
    NOT_KNOWN,
    NOT_PLACED,
    OTHER_SPECIMEN,
    Gathered,
    inside,
    minutes,
    shifted,
    words,
)

MARKS = (
    *("blood_glucose", "total_sleep_time", "sleep_duration", "sleep_episode", "activity_name"),
    *(
        "step_count",
        "base_movement_quantity",
        "effective_time_frame",
        "sleep_stage_state",
        "stress",
    ),
)
_STAGES = {
    "deep_sleep_duration": "deep_min",
    "light_sleep_duration": "light_min",
    "rem_sleep_duration": "rem_min",
    "wake_after_sleep_onset": "awake_min",
}
_SENSOR = ("", "interstitial fluid")


def is_data_point(value: Any) -> bool:
    """Say whether an object looks like a data point, with or without its header."""
    if not isinstance(value, dict):
        return False
    return ("header" in value and "body" in value) or any(mark in value for mark in MARKS)


def read_data_point(value: dict[str, Any], row: int, out: Gathered) -> None:
    """Put one data point into the tables it belongs to."""
    body = value.get("body", value)
    for each in body if isinstance(body, list) else [body]:
        if isinstance(each, dict):
            _read_body(each, words(inside(value, "header", "schema_id", "name")), row, out)
        else:
            out.leave(row, NOT_KNOWN, message("records.body_without_object"))


def _read_body(body: dict[str, Any], schema: str, row: int, out: Gathered) -> None:
    frame = body.get("effective_time_frame")
    moment, (start, end) = words(inside(frame, "date_time")), _interval(frame, out.zone)
    if "blood_glucose" in body:
        _glucose(body, moment, start, row, out)
    elif "total_sleep_time" in body or "sleep_duration" in body or schema == "sleep-episode":
        _sleep(body, start, end, row, out)
    elif "activity_name" in body or "base_movement_quantity" in body:
        _activity(body, start, end, row, out)
    elif "step_count" in body:
        value = _number(body["step_count"])
        told = NOT_PLACED if value else NO_NUMBER
        _put_activity(start, end, row, out, told, kind="steps", steps=value)
    elif "stress" in body and start and end:
        out.put("stress", row, start=start, end=end, level=_number(body["stress"]))
    else:
        marks = [mark for mark in MARKS if mark in body and mark != "effective_time_frame"]
        out.leave(row, NOT_KNOWN, schema or next(iter(marks), "no name"))


def _interval(frame: Any, zone: str | None) -> tuple[str, str]:
    """Return start and end of a time frame, empty where they are not known."""
    span = inside(frame, "time_interval")
    start, end = words(inside(span, "start_date_time")), words(inside(span, "end_date_time"))
    length = minutes(inside(span, "duration", "value"), inside(span, "duration", "unit"))
    if start and not end and length is not None:
        end = shifted(start, length, zone) or ""
    elif end and not start and length is not None:
        start = shifted(end, -length, zone) or ""
    return (start, end) if start and end else ("", "")


def _number(value: Any) -> str:
    return words(inside(value, "value")) if isinstance(value, dict) else words(value)


def _glucose(body: dict[str, Any], moment: str, start: str, row: int, out: Gathered) -> None:
    specimen = words(body.get("specimen_source")).casefold()
    value = words(inside(body, "blood_glucose", "value"))
    if words(body.get("descriptive_statistic")):
        out.leave(row, AVERAGE, body["descriptive_statistic"])
    elif specimen not in _SENSOR:
        out.leave(row, OTHER_SPECIMEN, specimen)
    elif not moment and start:
        out.leave(row, AVERAGE, start)
    elif not value:
        out.leave(row, NO_NUMBER)
    else:
        out.glucose(row, moment, value, inside(body, "blood_glucose", "unit"))


def _sleep(body: dict[str, Any], start: str, end: str, row: int, out: Gathered) -> None:
    if not start:
        out.leave(row, NOT_PLACED)
        return
    cells = {}
    total = body.get("total_sleep_time", body.get("sleep_duration"))
    for value, column in ((total, "asleep_min"), *((body.get(k), c) for k, c in _STAGES.items())):
        length = minutes(inside(value, "value"), inside(value, "unit"))
        if length is not None:
            cells[column] = repr(length)
        elif words(inside(value, "value")):
            out.leave(row, NO_NUMBER, f"{column} {inside(value, 'value')}")
    count = words(body.get("number_of_awakenings"))
    if count:
        cells["awakenings"] = count
    if isinstance(body.get("is_main_sleep"), bool):
        cells["kind"] = "main" if body["is_main_sleep"] else "nap"
    out.put("sleep", row, start=start, end=end, **cells)


def _activity(body: dict[str, Any], start: str, end: str, row: int, out: Gathered) -> None:
    quantity = body.get("base_movement_quantity")
    steps = _number(quantity) if words(inside(quantity, "unit")) in ("", "steps") else ""
    intensity = words(body.get("reported_activity_intensity"))
    kind = words(body.get("activity_name")) or "steps"
    _put_activity(start, end, row, out, NOT_PLACED, kind=kind, steps=steps, intensity=intensity)


def _put_activity(start: str, end: str, row: int, out: Gathered, told: Any, **cells: str) -> None:
    if start and end and any(cells.values()):
        out.put("activity", row, start=start, end=end, **cells)
    else:
        out.leave(row, told)
