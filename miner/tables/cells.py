"""Cells of a table: a number or why there is none, cut to yes or no, and columns of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan, nan
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from miner.core.messages import Message, message
from miner.tables.columns import Floats, Source

if TYPE_CHECKING:
    from miner.rulebook import FactorRule
    from miner.tables.unit_table import Cell


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


@dataclass(frozen=True, slots=True)
class Columns:
    """Cells by column, in the order of the columns, and the names of the units."""

    names: tuple[str, ...]
    cells: Mapping[str, Sequence[Found]]

    def frame(self, field: str = "value") -> pd.DataFrame:
        """Return one field of every cell, a row a unit."""
        index = pd.Index(self.names, dtype=object, name="unit")
        data = {
            name: np.array([getattr(item, field) for item in found], dtype=np.float64)
            for name, found in self.cells.items()
        }
        return pd.DataFrame(data, index=index)

    def reasons(self, field: str = "value") -> dict[Cell, Message]:
        """Return why each cell is unknown whose field is."""
        return {
            (unit, name): item.why
            for name, found in self.cells.items()
            for unit, item in zip(self.names, found, strict=True)
            if item.why and np.isnan(getattr(item, field))
        }

    def sources(self) -> dict[Cell, tuple[Source, ...]]:
        """Return the file and row of what each cell was read from."""
        return {
            (unit, name): item.rows
            for name, found in self.cells.items()
            for unit, item in zip(self.names, found, strict=True)
            if item.rows
        }


FEWEST_FOR_OWN_CUT = 8
OWN_CUTS = ("own_low_quarter", "own_high_quarter", "below_own_median", "above_own_median_by")
FROM_ABOVE = ("at_least", "own_high_quarter", "above_own_median_by", "present")


def cut(found: Sequence[Found], rule: FactorRule, usable: Sequence[bool]) -> list[Found]:
    """Return the same cells with ``decided`` set to 1, 0 or NaN.

    The client's own quarter or median is taken over usable days with a known number; with fewer
    than eight of them it is unknown. A number known only to be at least so much is decided where
    that is enough: yes where the cut asks for much, no where it asks for little.

    Args:
        found: one number a day.
        rule: the factor.
        usable: which days the client's own cut may rest on.
    """
    value = np.array([item.value for item in found], dtype=np.float64)
    known = np.asarray(usable, dtype=bool) & ~np.isnan(value)
    if rule.cut in OWN_CUTS and known.sum() < FEWEST_FOR_OWN_CUT:
        count = int(known.sum())
        why = because("too_few_for_own_level", n=count, need=FEWEST_FOR_OWN_CUT)
        return [item._replace(why=item.why or why, decided=nan) for item in found]
    at = threshold(value[known], rule)
    return [item._replace(decided=_decide(item, rule, at)) for item in found]


def threshold(known: Floats, rule: FactorRule) -> float:
    """Return the number at which yes begins, from the client's known usable days where own."""
    if rule.cut in ("own_low_quarter", "own_high_quarter"):
        return float(np.quantile(known, 0.25 if rule.cut == "own_low_quarter" else 0.75))
    at = 0.0 if rule.cut == "below_own_median" else rule.at or 0.0
    return at + float(np.median(known)) if rule.cut in OWN_CUTS else at


def _decide(item: Found, rule: FactorRule, at: float) -> float:
    if item.known:
        return float(_past(item.value, rule.cut, at))
    if not isnan(item.floor):
        past = _past(item.floor, rule.cut, at)
        if past == (rule.cut in FROM_ABOVE):
            return float(past)
    return item.decided


def _past(value: float, name: str, at: float) -> bool:
    if name in ("at_least", "above_own_median_by"):
        return value >= at
    if name in ("own_high_quarter", "present"):
        return value > at
    return value < at
