"""What one cell of a table holds before it is cut: a number, or the reason there is none."""

from __future__ import annotations

from math import isnan, nan
from typing import NamedTuple

from miner.core.messages import Message, message
from miner.tables.columns import Source


class Found(NamedTuple):
    """One number of one day.

    Attributes:
        value: the number, NaN where it is not known.
        why: why it is not known, None where it is.
        rows: the (file, row) pairs it was read from.
        decided: 1 or 0 where yes or no is known without the number, else NaN.
        floor: what the number is at least, where only that is known, else NaN.
    """

    value: float = nan
    why: Message | None = None
    rows: tuple[Source, ...] = ()
    decided: float = nan
    floor: float = nan

    @property
    def known(self) -> bool:
        """Whether there is a number."""
        return not isnan(self.value)


def unknown(why: Message | str, rows: tuple[Source, ...] = (), floor: float = nan) -> Found:
    """Return a number that is not known, with the reason, or with the kind of it."""
    return Found(why=because(why), rows=rows, floor=floor)


def because(why: Message | str, **values: object) -> Message:
    """Return a reason of this room by its kind, such as ``no_main_sleep``."""
    return message(f"tables.{why}", **values) if isinstance(why, str) else why
