"""What every result can do: become plain values or a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from enum import StrEnum
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

from miner.results.caution import CautionText

if TYPE_CHECKING:
    import pandas as pd


def plain(value: Any) -> Any:
    """Turn a result into what JSON can hold; what is undefined becomes None."""
    if isinstance(value, Result):
        return value.to_dict()
    if isinstance(value, CautionText):
        return value.text
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


class Result:
    """What every result can do: become a dict of plain values, or a table of one row."""

    __slots__ = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the fields by name as plain values."""
        return {item.name: plain(getattr(self, item.name)) for item in fields(self)}  # type: ignore[arg-type]

    def to_frame(self) -> pd.DataFrame:
        """Return the result as a DataFrame of one row."""
        import pandas as pd

        return pd.DataFrame([self.to_dict()])
