"""Records left out that say that something was: their end or their level cannot be used."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from miner.records.client import Client
from miner.records.columns import IN_DOUBT, NO_LEVEL
from miner.tables.clockwork import HOUR, Times, seconds
from miner.tables.columns import Source, numbers, origins
from miner.tables.found import Found, because, unknown
from miner.tables.limits import Mask
from miner.tables.movement.tracker import kinds_of
from miner.tables.spans import NOTHING, Spans

MAY_LAST = HOUR
"""How far after its start a record without a usable end may have gone on."""


@dataclass(frozen=True, slots=True)
class Unfinished:
    """When something may have gone on: to its end where that is known, else for an hour.

    A record that counted steps may have been a walk whatever it is called: how many steps a minute
    is not known. One that says it was something else unsettles nothing but that.

    Attributes:
        stress, walking, active, vigorous: the time in which it may have been that.
        steps: when the steps that such records counted may have been taken: until the end as
            written, and for an hour at least.
    """

    stress: Spans
    walking: Spans
    active: Spans
    vigorous: Spans
    steps: Spans


def unfinished_of(client: Client) -> Unfinished:
    """Sort the records of a client whose end or level cannot be used by what they may have been."""
    stress, moves = _left_out(client, "stress"), _left_out(client, "activity")
    if not len(stress) and not len(moves):
        return Unfinished(NOTHING, NOTHING, NOTHING, NOTHING, NOTHING)
    kinds, counted = kinds_of(moves), numbers(moves["steps"]) > 0
    active = kinds.walking | kinds.brisk | kinds.unrated
    last = np.maximum(seconds(moves["end"]), seconds(moves["start"]) + MAY_LAST)
    return Unfinished(
        stress=_spans(stress, np.ones(len(stress), dtype=bool)),
        walking=_spans(moves, kinds.walking | counted),
        active=_spans(moves, active | counted),
        vigorous=_spans(moves, kinds.vigorous | kinds.unrated),
        steps=_spans(moves, counted, last),
    )


def _spans(frame: pd.DataFrame, mask: Mask, last: Times | None = None) -> Spans:
    start = seconds(frame["start"])
    if last is None:
        ended = (frame["left_out"] == NO_LEVEL).to_numpy(dtype=bool)
        last = np.where(ended, seconds(frame["end"]), start + MAY_LAST)
    rows = origins(frame)
    return Spans.of(start[mask], last[mask], [rows[k] for k in np.flatnonzero(mask)])


def _left_out(client: Client, stream: str) -> pd.DataFrame:
    frame = client.streams[stream]
    aside = (frame["left_out"] != "").to_numpy(dtype=bool)
    return (
        frame[aside & frame["left_out"].isin(IN_DOUBT).to_numpy(dtype=bool)]
        if aside.any()
        else frame[:0]
    )


def at_least(
    stream: str, doubt: Spans, window: tuple[int, int], minutes: float, rows: tuple[Source, ...]
) -> Found:
    """Return the minutes recorded in a window: no more than the least where more may be.

    Args:
        stream: what was recorded, for the reason.
        doubt: when something may have gone on.
        window: from when to when, instants.
        minutes: recorded with a start and an end.
        rows: where they stand.
    """
    if not doubt.touch(*window):
        return Found(minutes, rows=rows)
    kind = "end_or_level_not_usable" if stream == "stress" else "end_not_usable"
    return unknown(because(kind, stream=stream), rows, floor=minutes)
