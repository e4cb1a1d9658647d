"""Plain tables of text on their way to a file, and clock times as text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .habits import Floats
from .nights import DAY
from .scenario import Scenario


@dataclass(frozen=True, slots=True)
class Table:
    """A header and rows of cells, all text, none of which needs quoting."""

    columns: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]

    def text(self, delimiter: str = ",") -> str:
        """Return the table as delimited text with one newline a row."""
        lines = map(delimiter.join, [self.columns, *self.rows])
        return "\n".join(lines) + "\n"


def instants(scenario: Scenario, minutes: Floats) -> NDArray[np.datetime64]:
    """Return wall-clock times for minutes since the midnight that begins row 0."""
    origin = np.datetime64(scenario.start - timedelta(days=1), "s")
    seconds = np.round(np.asarray(minutes) * 60).astype(np.int64)
    return np.asarray(origin + seconds.astype("timedelta64[s]"))


def iso(scenario: Scenario, minutes: Floats) -> list[str]:
    """Return ISO 8601 texts to the second for minutes since the midnight that begins row 0."""
    texts: list[str] = np.datetime_as_string(instants(scenario, minutes), unit="s").tolist()
    return texts


def whole(values: Iterable[float]) -> list[str]:
    """Return whole numbers as text, and nothing for an unknown one."""
    return ["" if value != value else str(round(value)) for value in values]


def table(columns: Sequence[str], *cells: Sequence[str]) -> Table:
    """Return a table from its columns."""
    return Table(tuple(columns), list(zip(*cells, strict=True)))


def within(scenario: Scenario, minutes: Floats) -> NDArray[np.bool_]:
    """Return whether each time lies in the span that was recorded, and was on the clock once."""
    last = ((scenario.last_day - scenario.start).days + 1) * DAY + 9 * 60
    inside: NDArray[np.bool_] = (minutes >= DAY) & (minutes < last)
    return inside & ~np.isnat(in_zone(scenario, minutes))


def in_zone(scenario: Scenario, minutes: Floats) -> NDArray[np.datetime64]:
    """Return the instants, UTC; NaT where a clock that was put forward or back leaves it open."""
    known = np.nan_to_num(np.asarray(minutes, dtype=np.float64), nan=0.0)
    clock = pd.DatetimeIndex(instants(scenario, known))
    if scenario.time_zone:
        clock = clock.tz_localize(scenario.time_zone, ambiguous="NaT", nonexistent="NaT")
        clock = clock.tz_convert("UTC").tz_localize(None)
    return clock.to_numpy()
