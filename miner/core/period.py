"""From one day to another, both included."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from miner.core.messages import MinerError

if TYPE_CHECKING:
    import pandas as pd


def day_of(value: Any) -> str:
    """Return a day as ISO 8601 writes it.

    Args:
        value: ISO text, a date, or a time of pandas, NumPy or the standard library.

    Raises:
        MinerError: it is none of these.

    >>> day_of(date(2026, 3, 1))
    '2026-03-01'
    """
    if hasattr(value, "astype"):  # a time of NumPy
        value = str(value)[:10]
    text = value.isoformat() if isinstance(value, date) else value
    try:
        return date.fromisoformat(text[:10] if isinstance(value, date) else text).isoformat()
    except (TypeError, ValueError):
        raise MinerError("core.no_day", day=value) from None


@dataclass(frozen=True, slots=True)
class Period:
    """Days from the first to the last, ISO, both included; None where a side is open.

    >>> "2026-03-05" in Period("2026-03-01", None)
    True
    """

    first: str | None = None
    last: str | None = None

    @classmethod
    def of(cls, first: Any = None, last: Any = None) -> Period:
        """Return the period between two days of any usual type.

        Raises:
            MinerError: one of them is not a day, or the last comes before the first.

        >>> Period.of("2026-03-01", date(2026, 3, 31))
        Period(first='2026-03-01', last='2026-03-31')
        """
        begin, end = (None if day is None else day_of(day) for day in (first, last))
        if begin is not None and end is not None and end < begin:
            raise MinerError("core.period_backwards", first=begin, last=end)
        return cls(begin, end)

    def __contains__(self, day: str) -> bool:
        return (self.first is None or day >= self.first) and (self.last is None or day <= self.last)

    def among(self, days: pd.Series[Any]) -> pd.Series[bool]:
        """Return which of many days are inside, shape (n,)."""
        inside = days == days
        if self.first is not None:
            inside &= days >= self.first
        if self.last is not None:
            inside &= days <= self.last
        return inside


EVER = Period()
"""Every day."""
