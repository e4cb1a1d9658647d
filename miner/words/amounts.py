"""Numbers with units, rounded for reading; nothing is rounded anywhere else."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from math import isfinite, nan

from miner.core.messages import MinerError

MG_DL_PER_MMOL_L = 18.0156
MINUS = "\u2212"
MG_DL, MMOL_L = "mg/dL", "mmol/L"
_unit: ContextVar[str] = ContextVar("unit", default=MG_DL)


@contextmanager
def in_unit(unit: str) -> Iterator[None]:
    """Word every amount of glucose in this block in a unit; of two blocks the inner one counts."""
    token = _unit.set(unit)
    try:
        yield
    finally:
        _unit.reset(token)


def from_now_in(unit: str) -> None:
    """Word amounts of glucose in a unit, to the end of the block that is open."""
    _unit.set(unit)


def amounts_now() -> Amounts:
    """Return what shows amounts in the unit that codes are worded in now."""
    return Amounts(_unit.get())


Ways = tuple[str, str]
"""What more and less of a measure is called, such as ``longer`` and ``shorter``."""
HIGHER_LOWER: Ways = ("higher", "lower")
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

    def typed_as(self, mg_dl: float) -> str:
        """Return a level as a person types it into a field, without its unit."""
        return f"{mg_dl:g}" if self.display_unit == MG_DL else self.level(mg_dl, MG_DL)

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

    def told(self, kind: str, value: float, unit: str) -> str:
        """Return an amount with its unit.

        Args:
            kind: level; size; bare and bare level, without their unit; step, a difference between
                two levels with its sign; limit, a size that was chosen, with no idle digit.
            value: in ``unit``.
            unit: as results hold it.
        """
        shown = self._shown(value, unit)
        digits = _LEVEL_DIGITS.get(self.unit(unit), 1)
        number = {
            "level": lambda: fixed(shown, digits),
            "step": lambda: fixed(shown, digits, sign=True),
            "size": lambda: self.size(value, unit),
            "limit": lambda: f"{float(self.size(value, unit)):g}",
            "bare": lambda: self.size(value, unit),
            "bare level": lambda: fixed(shown, digits),
        }[kind]()
        return number if kind.startswith("bare") else f"{number} {self.unit(unit)}"

    def interval(self, ends: tuple[float, float] | None, unit: str) -> str:
        """Return both ends of an interval with their signs, without unit."""
        if ends is None:
            return "-"
        return " to ".join(self.difference(end, unit) for end in ends)

    def way(self, value: float, unit: str, ways: Ways = HIGHER_LOWER) -> str:
        """Return a difference in words: 7 mg/dL lower."""
        return f"{self.level(abs(value), unit)} {self.unit(unit)} {ways[value <= 0]}"

    def about(self, value: float, unit: str) -> str:
        """Return the size of a difference rounded for people, with its unit: 7 mg/dL."""
        name = {"min": "minutes"}.get(unit, self.unit(unit))
        return f"{self.level(abs(value), unit)} {name}"

    def between(self, ends: tuple[float, float], unit: str, ways: tuple[str, str]) -> str:
        """Return both ends of an interval: 2 to 12, or 3 lower to 7 higher.

        Args:
            ends: of the interval.
            unit: of both.
            ways: what more and less of it are called.
        """
        low, high = (self.level(abs(end), unit) for end in ends)
        if ends[0] * ends[1] > 0:
            return f"{low} to {high}" if ends[0] > 0 else f"{high} to {low}"
        return f"{low} {ways[1]} to {high} {ways[0]}"

    def rounded(self, value: float, unit: str) -> str:
        """Return a difference with its sign, rounded for people, without its unit."""
        return f"{'+' if value > 0 else MINUS if value < 0 else ''}{self.level(abs(value), unit)}"

    def reach(self, ends: tuple[float, float], unit: str, ways: Ways = HIGHER_LOWER) -> str:
        """Return both ends of an interval in words: 2 to 12 lower, or 7 lower to 3 higher."""
        near, far = sorted(ends, key=abs)
        sizes = [self.level(abs(end), unit) for end in (near, far)]
        if ends[0] * ends[1] > 0:
            return f"{sizes[0]} to {sizes[1]} {ways[far <= 0]}"
        return " to ".join(f"{self.level(abs(end), unit)} {ways[end <= 0]}" for end in ends)

    def _shown(self, value: float | None, unit: str) -> float | None:
        if value is None or self.unit(unit) == unit:
            return value
        return value / MG_DL_PER_MMOL_L


LEAST_MG_DL, MOST_MMOL_L = 20.0, 33.3
"""No level of the one unit is below, none of the other above."""


def level_typed(text: str, unit: str) -> float:
    """Return a level that a person typed in the unit of the practice, in mg/dL.

    The unit may stand behind the number: ``140 mg/dL``.

    Raises:
        MinerError: it is no number, or clearly one of the other unit.
    """
    bare, own = text.strip(), unit
    for name in (MG_DL, MMOL_L):
        if bare.casefold().endswith(name.casefold()):
            bare, own = bare[: -len(name)].strip(), name
    try:
        value = float(bare.replace(",", "."))
    except ValueError:
        value = nan
    if not isfinite(value):
        raise MinerError("words.glucose_not_a_number", text=text[:20], unit=unit)
    if own == unit and (0 < value < LEAST_MG_DL if own == MG_DL else value > MOST_MMOL_L):
        other, told = (MMOL_L if own == MG_DL else MG_DL), f"{value:g}"
        meant = value * MG_DL_PER_MMOL_L if other == MMOL_L else value
        raise MinerError(
            "words.glucose_of_other_unit", text=told, unit=unit, other=other, meant=meant
        )
    return value * MG_DL_PER_MMOL_L if own == MMOL_L else value


def measured(
    name: str, value: float | None, own: str, amounts: Amounts, *, unit: bool = True
) -> str:
    """Return a value of a measure: a time of day, a share as percent, glucose, or a number.

    Args:
        name: of the measure; one that ends with ``_clock`` is a time of day in hours.
        value: in its own unit.
        own: that unit.
        amounts: the unit of glucose that is shown.
        unit: with its unit, where it has one that is said.
    """
    words = "%" if own == "share" else "hours" if own == "h" else amounts.unit(own)
    if value is None:
        shown = "-"
    elif name.endswith("_clock"):
        shown, words = "{:02d}:{:02d}".format(*divmod(round(value * 60) % (24 * 60), 60)), ""
    elif MG_DL in own:
        shown = amounts.level(value, own)
    elif own == "share":
        shown = fixed(100 * value, 0)
    else:
        shown = fixed(value, 1 if own == "h" and (not unit or value % 1) else 0)
    words = "" if words == "count" else words
    return f"{shown} {words}".strip() if unit else shown


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
