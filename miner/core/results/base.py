"""What every result can do: become plain values or a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from enum import StrEnum
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

from miner.core.messages import Message
from miner.core.results.caution import CautionText

if TYPE_CHECKING:
    import pandas as pd


def plain(value: Any) -> Any:
    """Turn a result into what JSON can hold; what is undefined becomes None."""
    if isinstance(value, Result):
        return value.to_dict()
    if isinstance(value, CautionText):
        return value.text
    if isinstance(value, Message):
        return str(value)
    if isinstance(value, bool | int | str) or value is None:
        return str(value) if isinstance(value, StrEnum) else value
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Path):
        return str(value)
    return plain(value.item())


MAX_LINES, MAX_WIDTH = 20, 90


def _short(value: Any) -> str:
    if isinstance(value, Mapping | tuple | list | set | frozenset) and len(repr(value)) > MAX_WIDTH:
        return f"<{len(value)} of them>"
    if isinstance(value, Result):
        return f"<{type(value).__name__}>"
    text = repr(value)
    return text if len(text) <= MAX_WIDTH else f"{text[: MAX_WIDTH - 3]}..."


class Result:
    """What every result can do: become a dict of plain values, or a table of one row."""

    __slots__ = ()

    def __repr__(self) -> str:
        """Return the fields by name, at most twenty lines; of what holds many things, how many."""
        names = [item.name for item in fields(self)]  # type: ignore[arg-type]
        told = [f"  {name}={_short(getattr(self, name))}" for name in names]
        if len(told) > MAX_LINES - 2:
            left_out = f"{len(told) - MAX_LINES + 3} more"
            told = [*told[: MAX_LINES - 3], f"  and {left_out}: to_dict()"]
        return "\n".join([f"{type(self).__name__}(", *told, ")"])

    def _repr_html_(self) -> str:
        """Return the table of the result, as a notebook shows it."""
        html: str = self.to_frame().to_html(index=False, max_rows=MAX_LINES, notebook=True)
        return html

    def to_dict(self) -> dict[str, Any]:
        """Return the fields by name as plain values."""
        return {item.name: plain(getattr(self, item.name)) for item in fields(self)}  # type: ignore[arg-type]

    def to_frame(self) -> pd.DataFrame:
        """Return the result as a DataFrame of one row; ``attrs["units"]``: units by column."""
        import pandas as pd

        frame = pd.DataFrame([self.to_dict()])
        frame.attrs["units"] = self.column_units()
        return frame

    def column_units(self) -> dict[str, str]:
        """Return the unit of each column that has one."""
        return {}
