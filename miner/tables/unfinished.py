"""Records left out because their end cannot be used: something began, nobody knows how long."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from miner.records.client import Client
from miner.records.stream_file import IN_DOUBT
from miner.tables.clockwork import HOUR, Times, seconds
from miner.tables.columns import Source, numbers, origins
from miner.tables.found import Found, unknown
from miner.tables.movement import kinds_of
from miner.tables.spans import Spans

MAY_LAST = HOUR
"""How far after its start such a record may have gone on."""


@dataclass(frozen=True, slots=True)
class Unfinished:
    """When something began that may have gone on.

    A record that counted steps may have been a walk whatever it is called: how many steps a minute
    is not known. One that says it was something else unsettles nothing but that.

    Attributes:
        stress, walking, active, vigorous: starts of the records that may have been it.
        steps: when the steps that such records counted may have been taken: until the end as
            written, and for an hour at least.
    """

    stress: Times
    walking: Times
    active: Times
    vigorous: Times
    steps: Spans


def unfinished_of(client: Client) -> Unfinished:
    """Sort the records of a client whose end cannot be used by what they may have been."""
    stress, moves = _left_out(client, "stress"), _left_out(client, "activity")
    start, end = seconds(moves["start"]), seconds(moves["end"])
    kinds, counted, rows = kinds_of(moves), numbers(moves["steps"]) > 0, origins(moves)
    active = kinds.walking | kinds.brisk | kinds.unrated
    last = np.maximum(end, start + MAY_LAST)
    own = [rows[k] for k in np.flatnonzero(counted)]
    return Unfinished(
        stress=seconds(stress["start"]),
        walking=start[kinds.walking | counted],
        active=start[active | counted],
        vigorous=start[kinds.vigorous | kinds.unrated],
        steps=Spans.of(start[counted], last[counted], own),
    )


def _left_out(client: Client, stream: str) -> pd.DataFrame:
    frame = client.streams[stream]
    return frame[frame["left_out"].isin(IN_DOUBT)]


def at_least(
    stream: str, starts: Times, window: tuple[int, int], minutes: float, rows: tuple[Source, ...]
) -> Found:
    """Return the minutes recorded in a window: no more than the least where more may be.

    Args:
        stream: what was recorded, for the reason.
        starts: instants at which something began that may have gone on for an hour.
        window: from when to when, instants.
        minutes: recorded with a start and an end.
        rows: where they stand.
    """
    if not ((starts < window[1]) & (starts + MAY_LAST > window[0])).any():
        return Found(minutes, rows=rows)
    return unknown(f"the end of a record of {stream} then cannot be used", rows, floor=minutes)
