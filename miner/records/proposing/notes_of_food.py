"""Proposes the columns of meal and tag files."""

from __future__ import annotations

from collections.abc import Sequence

from miner.records.columns import LEVELS, MEALS
from miner.records.fold import fold
from miner.records.proposing.cells import Column, propose_not_measured
from miner.records.proposing.notes import Notes
from miner.records.proposing.streams import text_columns
from miner.records.proposing.times import TimeColumns, map_interval, map_moment
from miner.records.proposing.words import AMOUNTS, LABEL, NOT_AN_AMOUNT, TAG

_SLOT = frozenset({"type", "slot", "kind", "category"})
_FEWEST_KNOWN = 0.3


def propose_meals(columns: Sequence[Column], times: TimeColumns, notes: Notes) -> None:
    """Map the columns of a meal file."""
    map_moment(times, notes)
    slot = _slot(columns)
    if slot is not None:
        shown = ", ".join(slot.listed[:3]) or "nothing stands in it"
        notes.map("meal", slot.name, f"its name, and its words ({shown})")
    labels = [each for each in text_columns(columns, LABEL) if each is not slot]
    _first_by_word("label", labels, LABEL, notes)
    for key, words in AMOUNTS.items():
        named = [each for each in columns if each.has(words) and not each.has(NOT_AN_AMOUNT)]
        amounts = [each for each in named if each.numeric or each.blank]
        levels = [each for each in named if _is_levels(each)]
        if len(amounts) > 1:
            options = tuple(f'{key} = "{each.name}"' for each in amounts)
            notes.leave(f"columns.{key}", f"{len(amounts)} columns may hold it", options)
        elif amounts:
            notes.map(key, amounts[0].name, f"its name says {key.partition('_')[0]}")
            propose_not_measured(amounts[0], notes)
        elif levels and key != "energy_kcal":
            told = "its name, and its words are low, moderate or high"
            notes.map(f"{key.partition('_')[0]}_level", levels[0].name, told)


def _slot(columns: Sequence[Column]) -> Column | None:
    for each in columns:
        if each.numeric or each.written is not None or "meal" not in each.words:
            continue
        known = each.text[each.text != ""]
        share = known.map(fold).isin(MEALS).mean() if len(known) else 0.0
        if each.has(_SLOT) or share > _FEWEST_KNOWN:
            return each
    return None


def _is_levels(column: Column) -> bool:
    words = {fold(each) for each in column.text.unique()} - {""}
    return bool(words) and words <= set(LEVELS)


def _first_by_word(key: str, among: Sequence[Column], words: tuple[str, ...], notes: Notes) -> None:
    ranks = [min(words.index(word) for word in each.words if word in words) for each in among]
    if not among or ranks.count(ranks[0]) > 1:
        options = tuple(f'{key} = "{each.name}"' for each in among)
        told = f"{len(among)} columns may hold it" if among else "no column of text looks like it"
        notes.leave(f"columns.{key}", told, options, needed=True)
        return
    notes.map(key, among[0].name, f"it holds text, and its name says {words[ranks[0]]}")
    if len(among) > 1:
        options = tuple(f'{key} = "{each.name}"' for each in among[1:])
        notes.leave(f"columns.{key}", "other columns of text may be meant", options)


def propose_tags(columns: Sequence[Column], times: TimeColumns, notes: Notes) -> None:
    """Map the columns of a tag file; a date without a time of day will do."""
    if times.start and times.end:
        map_interval(times, notes)
    elif times.only or times.start or times.end:
        map_moment(times, notes)
    else:
        _map_date(columns, notes)
    _first_by_word("tag", text_columns(columns, TAG), TAG, notes)


def _map_date(columns: Sequence[Column], notes: Notes) -> None:
    dates = [each for each in columns if each.written is not None]
    if len(dates) == 1:
        notes.map(
            "time", dates[0].name, "it holds dates; without a time of day they count as 12:00"
        )
        return
    options = tuple(f'time = "{each.name}"' for each in dates)
    notes.leave("columns.time", f"{len(dates)} columns may hold it", options, needed=True)
