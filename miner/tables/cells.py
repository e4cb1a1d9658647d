"""Cells of a table column by column, as frames, reasons and sources."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from miner.core.messages import Message
from miner.tables.columns import Source
from miner.tables.found import Found
from miner.tables.unit_table import Cell


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
