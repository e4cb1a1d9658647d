"""Which stream a file seems to feed, by the names of its columns, its own name and its times."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

import numpy as np

from miner.records.client import STREAMS
from miner.records.proposing.cells import Column
from miner.records.proposing.notes import Notes
from miner.records.proposing.times import TimeColumns
from miner.records.proposing.words import (
    GLUCOSE,
    LABEL,
    STREAM_WORDS,
    STRESS,
    TAG,
    VALUE,
    glucose_unit,
    tokens,
)
from miner.records.time_hints import hint

_OWN_NAME, _COLUMN = 3, 2
_CLOSE = 1
_FILES = {"glucose": frozenset({"sensor"})}
_READINGS = (1.5, 600.0)


def choose_stream(
    file: str, columns: Sequence[Column], times: TimeColumns, notes: Notes
) -> str | None:
    """Choose the stream a file feeds, or leave it open.

    Args:
        file: the file's name.
        columns: its columns.
        times: those that may hold its times.
        notes: gets the choice.
    """
    named = set(tokens(PurePath(file).stem))
    marks: dict[str, int] = {}
    seen: dict[str, str] = {}
    for stream in STREAMS:
        words = STREAM_WORDS[stream] | {stream}
        matched = [each.name for each in columns if each.has(words)]
        own = bool(named & (words | _FILES.get(stream, frozenset())))
        if stream == "glucose":
            matched += [each.name for each in columns if glucose_unit(each.words)]
        if (matched or own) and can_feed(stream, columns, times):
            marks[stream] = _COLUMN * len(set(matched)) + _OWN_NAME * own
            shown = [f"column '{name}'" for name in dict.fromkeys(matched)]
            seen[stream] = ", ".join([*(["the file's name"] if own else []), *shown[:4]])
    ranked = sorted(marks, key=lambda stream: -marks[stream])
    if not ranked:
        fitting = [each for each in STREAMS if can_feed(each, columns, times)]
        told = _no_times(columns) or "no name in it speaks of one stream"
        notes.leave("stream", told, tuple(f'stream = "{each}"' for each in fitting), needed=True)
        return None
    first = ranked[0]
    if len(ranked) > 1 and marks[first] - marks[ranked[1]] < _CLOSE:
        told = "; ".join(f"{stream}: {seen[stream]}" for stream in ranked[:3])
        options = tuple(f'stream = "{each}"' for each in ranked)
        notes.leave("stream", f"it may be one of several ({told})", options, needed=True)
        return None
    notes.choose("stream", first, seen[first])
    return first


def _no_times(columns: Sequence[Column]) -> str:
    """Say that no column holds times, and what those that are named so hold instead."""
    if any(each.written is not None for each in columns):
        return ""
    named = [each for each in columns if not {"time", "date", "when"}.isdisjoint(each.words)]
    named += [each for each in columns if not each.blank and hint(_first(each))]
    shown = next((each for each in named if not each.blank), None)
    if shown is None:
        return "no column holds times that can be read"
    first = _first(shown)
    told = f"no column holds times that can be read; in '{shown.name}' stands '{first[:40]}'"
    return f"{told}. {hint(first)}".removesuffix(".").removesuffix(". ")


def _first(column: Column) -> str:
    return str(column.text[column.text != ""].iloc[0])


def can_feed(stream: str, columns: Sequence[Column], times: TimeColumns) -> bool:
    """Say whether a file has the times and the columns that a stream cannot do without."""
    dated = any(each.written is not None for each in columns)
    if stream == "glucose":
        return bool(times.only or times.start) and bool(glucose_columns(columns))
    if stream == "sleep":
        return times.interval
    if stream == "stress":
        return bool(stress_columns(columns)) and (times.interval or bool(times.only))
    if stream == "activity":
        return times.interval
    if stream == "meals":
        return bool(times.only or times.start) and bool(text_columns(columns, LABEL))
    return dated and bool(text_columns(columns, TAG))


def glucose_columns(columns: Sequence[Column]) -> list[Column]:
    """Return the columns that may hold the readings, the likelier first."""
    usual = [each for each in columns if each.numeric and _like_readings(each)]
    named = [each for each in usual if each.has(GLUCOSE) or glucose_unit(each.words)]
    return named or [each for each in usual if each.has(VALUE)]


def _like_readings(column: Column) -> bool:
    known = column.values[column.values > 0]
    return bool(known.size and _READINGS[0] < np.median(known) < _READINGS[1])


def stress_columns(columns: Sequence[Column]) -> list[Column]:
    """Return the columns that may hold the level of stress."""
    return [each for each in columns if each.numeric and each.has(STRESS)]


def text_columns(columns: Sequence[Column], words: tuple[str, ...]) -> list[Column]:
    """Return the columns of text whose name has one of these words, the earliest word first."""
    texts = [each for each in columns if not each.numeric and each.written is None]
    found = [each for each in texts if not set(words).isdisjoint(each.words)]
    return sorted(found, key=lambda each: min(words.index(w) for w in each.words if w in words))
