"""Numbers with units, rounded for reading; nothing is rounded anywhere else."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

MG_DL_PER_MMOL_L = 18.0156
MINUS = "\u2212"

_LEVEL_DIGITS = {"mg/dL": 0, "mmol/L": 1, "min": 0, "mg/dL min": 0, "mmol/L min": 0}
_DIFFERENCE_DIGITS = {"mg/dL": 1, "mmol/L": 2, "min": 0, "mg/dL min": 0, "mmol/L min": 1}


@dataclass(frozen=True, slots=True)
class Amounts:
    """Shows numbers in the unit a practice reads.

    Results hold glucose in mg/dL; for ``mmol/L`` they are divided by 18.0156. Minutes stay.

    Args:
        display_unit: ``mg/dL`` or ``mmol/L``.
    """

    display_unit: str = "mg/dL"

    def unit(self, unit: str) -> str:
        """Return the unit as shown."""
        return unit.replace("mg/dL", self.display_unit)

    def level(self, value: float | None, unit: str) -> str:
        """Return a reading, without its unit."""
        return fixed(self._shown(value, unit), _LEVEL_DIGITS.get(self.unit(unit), 1))

    def size(self, value: float | None, unit: str) -> str:
        """Return the size of a difference or a spread, without sign and unit."""
        return fixed(self._shown(value, unit), _DIFFERENCE_DIGITS.get(self.unit(unit), 1))

    def difference(self, value: float | None, unit: str) -> str:
        """Return a difference with its sign, without its unit."""
        digits = _DIFFERENCE_DIGITS.get(self.unit(unit), 1)
        return fixed(self._shown(value, unit), digits, sign=True)

    def interval(self, ends: tuple[float, float] | None, unit: str) -> str:
        """Return both ends of an interval with their signs, without unit."""
        if ends is None:
            return "-"
        return " to ".join(self.difference(end, unit) for end in ends)

    def way(self, value: float, unit: str) -> str:
        """Return a difference in words: 7 mg/dL lower."""
        return f"{self.level(abs(value), unit)} {self.unit(unit)} {_way(value)}"

    def rounded(self, value: float, unit: str) -> str:
        """Return a difference with its sign, rounded for people, without its unit."""
        return f"{'+' if value > 0 else MINUS if value < 0 else ''}{self.level(abs(value), unit)}"

    def reach(self, ends: tuple[float, float], unit: str) -> str:
        """Return both ends of an interval in words: 2 to 12 lower, or 7 lower to 3 higher."""
        near, far = sorted(ends, key=abs)
        sizes = [self.level(abs(end), unit) for end in (near, far)]
        if ends[0] * ends[1] > 0:
            return f"{sizes[0]} to {sizes[1]} {_way(far)}"
        return " to ".join(f"{self.level(abs(end), unit)} {_way(end)}" for end in ends)

    def _shown(self, value: float | None, unit: str) -> float | None:
        if value is None or self.unit(unit) == unit:
            return value
        return value / MG_DL_PER_MMOL_L


def _way(value: float) -> str:
    return "higher" if value > 0 else "lower"


def fixed(value: float | None, digits: int, *, sign: bool = False) -> str:
    """Round to so many decimals, or as many as it takes for a number other than 0 not to read 0.

    Returns ``-`` for what is undefined.
    """
    if value is None or not isfinite(value):
        return "-"
    plus = "+" if sign and value > 0 else ""
    rounded = round(value, digits)
    if rounded == 0 and value != 0 and digits < 6:
        return fixed(value, digits + 1, sign=sign)
    return f"{plus}{rounded or 0.0:.{digits}f}"


def chance(value: float | None) -> str:
    """Return a p value to two significant digits."""
    if value is None or not isfinite(value):
        return "-"
    return "<0.0001" if value < 0.0001 else f"{value:.2g}" if value < 0.1 else f"{value:.2f}"
