"""On which clock the times of a file are: their own offset, one beside them, or the client's."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from miner.core.results.mapping import Option
from miner.records.iso8601 import offsets
from miner.records.proposing.columns import Column
from miner.records.proposing.exports import Exports
from miner.records.proposing.notes import Notes
from miner.records.proposing.others import Others
from miner.records.proposing.times import MINUTE, TO_MIN, apart_min, first_stamps

Floats = NDArray[np.float64]


def map_clock(
    columns: Sequence[Column],
    first: Column,
    nights: Floats | None,
    notes: Notes,
    book: Exports,
    others: Others,
) -> None:
    """Say on which clock times are, where an offset stands in them or beside them.

    Args:
        columns: of the file.
        first: the one with the start of a record, or its only time.
        nights: the minutes of each record where they are nights, or None.
        notes: gets the choice.
        book: how files tend to look.
        others: the client's other files.
    """
    if first.written is None or first.written.offset:
        notes.choose("time_zone", None, "own_offset")
        return
    beside = [each for each in columns if each.offset_unit(book) is not None]
    if len(beside) != 1 or "columns.utc_offset" in notes.answers:
        notes.choose("time_zone", None, "counted_in_utc" if first.written.unit else "client_clock")
        return
    offset, unit = beside[0], beside[0].offset_unit(book) or ""
    text = offsets(offset.text)[0] / MINUTE
    ahead = offset.values * TO_MIN[unit] if unit else np.asarray(text, dtype=np.float64)
    utc: dict[str, Any] = {"columns.utc_offset": offset.name}
    utc |= {"units.utc_offset": unit} if unit else {}
    known = ahead[~np.isnan(ahead)]
    if not known.any() and not first.written.unit:
        notes.choose("time_zone", None, "offset_is_zero", column=offset.name)
        return
    clock, code, facts = _decided(columns, first, ahead, nights, book, others)
    if clock is None or "clock" in notes.answers:
        hours = {"hours": [float(each) / 60 for each in np.unique(known)[:4]]}
        options = [Option("utc", utc, "clock_utc", hours), Option("local", {}, "clock_local")]
        notes.ask("clock", "offset_beside", options, needed=True, column=offset.name)
        return
    for key, value in utc.items() if clock == "utc" else (("time_zone", None),):
        notes.choose(key, value, code, column=offset.name, **facts)


def _decided(
    columns: Sequence[Column],
    first: Column,
    ahead: Floats,
    nights: Floats | None,
    book: Exports,
    others: Others,
) -> tuple[str | None, str, dict[str, Any]]:
    """Return utc, local or None for times with an offset beside them, and what decides."""
    if first.written is not None and first.written.unit:
        return "utc", "counted_in_utc", {}
    for word in ("utc", "local"):
        if book.times[word].stand_in(first.words):
            return word, "clock_by_name", {"name": first.name}
    for count in columns:
        gap = apart_min(count, first) if count.written and count.written.unit else None
        for clock, wanted in (("local", ahead), ("utc", np.zeros(len(ahead)))):
            if gap is not None and np.nanmax(np.abs(gap - wanted), initial=0) < 1:
                return clock, f"count_{clock}", {"count_of": count.name}
    if nights is None:
        return None, "", {}
    found, facts = others.clock_of_nights(first_stamps(first), nights, ahead, book.limits)
    return found, f"nights_{found}", facts
