"""One row a unit (a biological day, or a meal): outcomes, factors, and where each came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from miner.core.messages import Message

Cell = tuple[str, str]


@dataclass(frozen=True, slots=True)
class UnitTable:
    """A feature table with its reasons and its provenance.

    Attributes:
        unit: "day" or "meal".
        frame: one row a unit, indexed by its name (ISO date of a day), in time order. Columns:
            ``date`` (ISO), ``day_number`` (int, days since 1970-01-01, gaps kept),
            ``start``/``end`` (wall clock), ``rest_day`` (bool), ``sensor`` (text),
            ``coverage`` (share of 5-minute slots with a reading), ``usable`` (bool),
            ``left_out`` ("" or a message why), then outcomes (float, NaN unknown), then factors
            (1.0 yes, 0.0 no, NaN unknown).
        outcomes: names of the outcome columns, in the rule book's order.
        factors: names of the factor columns, in the rule book's order, tags last.
        measures: the number behind each factor, same index, column = factor name.
        by_clock: the outcomes again on windows fixed by the clock, same index and columns.
        reasons: (unit name, column) -> why that cell is unknown.
        sources: (unit name, column) -> the (file, row) pairs the cell came from.
        context: published ranges for description only, same index (see ``days``).
        medicine: whether the client takes what moves glucose, its doses in no record.
        replaced: (file, row) of a correction -> that of the record it replaces.
    """

    unit: str
    frame: pd.DataFrame
    outcomes: tuple[str, ...]
    factors: tuple[str, ...]
    measures: pd.DataFrame
    by_clock: pd.DataFrame
    reasons: Mapping[Cell, Message]
    sources: Mapping[Cell, tuple[tuple[str, int], ...]]
    context: pd.DataFrame
    replaced: Mapping[tuple[str, int], tuple[str, int]] = field(default_factory=dict)
    medicine: bool = False
