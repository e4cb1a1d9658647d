"""Proposes the columns of sleep, stress and activity files."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from miner.records.columns import COLUMNS
from miner.records.fold import fold
from miner.records.proposing.cells import Column, propose_not_measured
from miner.records.proposing.notes import Notes
from miner.records.proposing.streams import stress_columns, text_columns
from miner.records.proposing.times import TimeColumns, map_interval, map_moment, stamps_of
from miner.records.proposing.words import (
    AWAKENINGS,
    KIND,
    NOT_AN_AMOUNT,
    STAGES,
    time_unit,
)
from miner.records.samples import modal_gap

_SHARE_OF_BLOCKS = 0.5
_STEPS = frozenset({"step", "steps"})


def propose_sleep(columns: Sequence[Column], times: TimeColumns, notes: Notes) -> None:
    """Map the columns of a sleep file."""
    map_interval(times, notes)
    for key, words in STAGES.items():
        among = [c for c in columns if c.numeric and c.has(words) and not c.has(NOT_AN_AMOUNT)]
        among = [c for c in among if not c.has(AWAKENINGS)]
        if len(among) > 1:
            options = tuple(f'{key} = "{each.name}"' for each in among)
            notes.leave(f"columns.{key}", f"{len(among)} columns may hold it", options)
        elif among and key not in notes.columns:
            _map_minutes(key, among[0], notes)
    counts = [each for each in columns if each.numeric and each.has(AWAKENINGS)]
    if len(counts) == 1:
        notes.map("awakenings", counts[0].name, "its name says so")
    _map_choice("kind", "sleep", [c for c in columns if c.has(frozenset(KIND))], notes)


def _map_minutes(key: str, column: Column, notes: Notes) -> None:
    notes.map(key, column.name, f"its name says {key.removesuffix('_min')}")
    unit = time_unit(column.words)
    if unit is None:
        options = tuple(f'{key} = "{each}"' for each in ("s", "min", "h"))
        told = f"'{column.name}' names no unit; without one it is read as minutes"
        notes.leave(f"units.{key}", told, options, needed=True)
    elif unit != "min":
        notes.unit(key, unit, f"the name '{column.name}' says so")


def _map_choice(key: str, stream: str, among: Sequence[Column], notes: Notes) -> None:
    allowed = COLUMNS[stream].choices[key]
    for column in among:
        words = {fold(each) for each in column.listed}
        if words and words <= set(allowed):
            notes.map(key, column.name, f"its words are {', '.join(sorted(words))}")
            return


def propose_stress(columns: Sequence[Column], times: TimeColumns, notes: Notes) -> None:
    """Map the columns of a stress file: episodes, or a level sampled again and again."""
    among = stress_columns(columns)
    level = among[0] if len(among) == 1 else None
    if level is None:
        options = tuple(f'level = "{each.name}"' for each in among)
        notes.leave("columns.level", f"{len(among)} columns may hold it", options, needed=True)
    if times.interval:
        map_interval(times, notes)
        if level is not None:
            notes.map("level", level.name, "it holds numbers, and its name says stress")
    else:
        map_moment(times, notes)
        if level is not None:
            _sampled(level, notes)
    if level is not None:
        propose_not_measured(level, notes)


def _sampled(level: Column, notes: Notes) -> None:
    notes.episodes["column"] = level.name
    known = level.values[~np.isnan(level.values)]
    below = np.unique(known[known < 0])
    if 0 < below.size <= 5 and (known >= 0).mean() > 0.05:
        words = [f"{value:g}" for value in below]
        told = "levels run from 0; a number below 0 stands where nothing was measured"
        notes.choose("not_measured", [*notes.entry.get("not_measured", []), *words], told)
    levels = known[known >= 0] if (known >= 0).any() else np.zeros(1)
    quarter, middle, upper = np.percentile(levels, [25, 50, 75])
    notes.leave(
        "episodes.at_least",
        "there is one level a row and no end. From which level on it counts is yours to say. "
        f"A quarter are below {quarter:g}, half below {middle:g}, three quarters below {upper:g}",
        needed=True,
    )
    told = "how long an episode must last is yours to say"
    notes.leave("episodes.for_min and episodes.join_gaps_min", told)


def propose_activity(columns: Sequence[Column], times: TimeColumns, notes: Notes) -> None:
    """Map the columns of an activity file: bouts of movement, or blocks with their steps."""
    map_interval(times, notes)
    steps = [each for each in columns if each.numeric and each.has(_STEPS)]
    steps = [each for each in steps if not each.has(NOT_AN_AMOUNT - {"count", "number"})]
    if len(steps) == 1:
        notes.map("steps", steps[0].name, "it holds numbers, and its name says steps")
    elif steps:
        options = tuple(f'steps = "{each.name}"' for each in steps)
        notes.leave("columns.steps", f"{len(steps)} columns may hold it", options)
    intensity = [each for each in columns if "intensity" in each.words]
    _map_choice("intensity", "activity", intensity, notes)
    kinds = [each for each in text_columns(columns, KIND) if each not in intensity]
    _map_kind(kinds, columns, notes)


def _map_kind(kinds: Sequence[Column], columns: Sequence[Column], notes: Notes) -> None:
    own = tuple(f'columns.kind = "{each.name}"' for each in kinds)
    if "steps" in notes.columns and _are_blocks(columns, notes):
        options = ('constants.kind = "steps"', *own)
        told = (
            "the rows follow each other without a gap, so they are blocks of the day. Whether they "
            "count steps or tell bouts of movement is yours to say"
        )
        notes.leave("kind", told, options, needed=True)
    elif len(kinds) == 1:
        notes.map("kind", kinds[0].name, "it holds words, and its name says the kind")
    elif not kinds and "steps" in notes.columns:
        told = "no column names the movement"
        notes.leave("kind", told, ('constants.kind = "steps"',), needed=True)
    else:
        told = f"{len(kinds)} columns may hold it"
        notes.leave("kind", told, own or ('constants.kind = "walking"',), needed=True)


def _are_blocks(columns: Sequence[Column], notes: Notes) -> bool:
    begins = np.unique(stamps_of(columns, notes))
    gap = modal_gap(begins) if begins.size else None
    return gap is not None and float((np.diff(begins) == gap).mean()) > _SHARE_OF_BLOCKS
