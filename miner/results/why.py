"""What stands behind one hypothesis: every unit, and where each value came from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from miner.results.base import Result

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Place(Result):
    """A file of the client folder and a line in it, counted from 1."""

    file: str
    row: int


@dataclass(frozen=True, slots=True)
class FactorValue(Result):
    """One factor on one unit: yes, no or unknown (None), the number behind it, and its lines."""

    factor: str
    from_unit: str | None
    value: float | None
    measure: float | None
    measure_unit: str
    reason: str
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class UnitBehind(Result):
    """One unit behind a hypothesis.

    Attributes:
        used: whether it counts; if not, ``reason`` says why.
        with_factor: 1.0 with, 0.0 without, None unknown.
        high: 1.0 in the higher quarter, 0.0 not, None no label.
    """

    unit: str
    used: bool
    reason: str
    with_factor: float | None
    outcome: float | None
    high: float | None
    factors: tuple[FactorValue, ...]
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class Why(Result):
    """A hypothesis and every unit behind it."""

    client: str
    id: str
    factors: tuple[str, ...]
    lag_days: tuple[int, ...]
    outcome: str
    unit: str
    units: tuple[UnitBehind, ...]

    def to_frame(self) -> pd.DataFrame:
        """Return one row a unit, the factors' values and places in columns of their own."""
        import pandas as pd

        rows = []
        for item in self.units:
            row: dict[str, object] = {
                "unit": item.unit, "used": item.used, "reason": item.reason,
                "with": item.with_factor, self.outcome: item.outcome, "high": item.high,
                "outcome_from": _told(item.places),
            }  # fmt: skip
            for factor in item.factors:
                row[factor.factor] = factor.value
                row[f"{factor.factor}_measure"] = factor.measure
                row[f"{factor.factor}_from"] = _told(factor.places)
            rows.append(row)
        return pd.DataFrame(rows)


def _told(places: tuple[Place, ...]) -> str:
    return "; ".join(f"{place.file}:{place.row}" for place in places)
