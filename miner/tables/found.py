"""What one cell of a table holds before it is cut: a number, or the reason there is none."""

from __future__ import annotations

from math import isnan, nan
from typing import NamedTuple

from miner.tables.columns import Source


class Found(NamedTuple):
    """One number of one day.

    Attributes:
        value: the number, NaN where it is not known.
        why: why it is not known, empty where it is.
        rows: the (file, row) pairs it was read from.
        decided: 1 or 0 where yes or no is known without the number, else NaN.
        floor: what the number is at least, where only that is known, else NaN.
    """

    value: float = nan
    why: str = ""
    rows: tuple[Source, ...] = ()
    decided: float = nan
    floor: float = nan

    @property
    def known(self) -> bool:
        """Whether there is a number."""
        return not isnan(self.value)


def unknown(why: str, rows: tuple[Source, ...] = (), floor: float = nan) -> Found:
    """Return a number that is not known, with the reason."""
    return Found(why=why, rows=rows, floor=floor)
