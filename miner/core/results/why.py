"""What is behind one hypothesis: every unit, and where each value came from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from miner.core.facts import Place, Result
from miner.core.messages import Message

if TYPE_CHECKING:
    import pandas as pd

    from miner.core.results.ranking import Per


@dataclass(frozen=True, slots=True, repr=False)
class FactorValue(Result):
    """One factor on one unit: yes, no or unknown (None), the number behind it, and its lines.

    Attributes:
        from_unit: the unit it was recorded on, an earlier one where the factor comes before.
    """

    factor: str
    from_unit: str | None
    value: float | None
    measure: float | None
    measure_unit: str
    reason: Message | str
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True, repr=False)
class UnitBehind(Result):
    """One unit behind a hypothesis.

    Attributes:
        used: whether it counts; if not, ``reason`` says why.
        with_factor: 1.0 with, 0.0 without, None unknown.
        high: 1.0 in the higher quarter, 0.0 not, None no label.
        places: the first and the last reading of the outcome's window.
        sensor: the sensor worn, or "".
    """

    unit: str
    used: bool
    reason: Message | str
    with_factor: float | None
    outcome: float | None
    high: float | None
    factors: tuple[FactorValue, ...]
    places: tuple[Place, ...]
    sensor: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class Why(Result):
    """A hypothesis and every unit behind it.

    Attributes:
        relation: "precedes" or "same_day", as in a ranking.
        difference: as a ranking has it, what is measured next to it allowed for; None of several
            habits together, and where it is not known.
        per: of a dose, what the difference is for.

    Example:
        >>> behind = miner.why(client, "4c28aa7c")
        >>> behind.units[1].unit, behind.units[1].outcome
        ('2026-01-13', 89.5)
    """

    client: str
    id: str
    factors: tuple[str, ...]
    lag_days: tuple[int, ...]
    outcome: str
    unit: str
    units: tuple[UnitBehind, ...]
    relation: str = "precedes"
    difference: float | None = None
    per: Per | None = None

    def to_frame(self) -> pd.DataFrame:
        """Return one row a unit, the factors' values and places in columns of their own."""
        import pandas as pd

        rows = []
        for item in self.units:
            row: dict[str, object] = {
                "unit": item.unit,
                "used": item.used,
                "reason": str(item.reason),
                "with": item.with_factor,
                self.outcome: item.outcome,
                "high": item.high,
                "outcome_from": told_between(item.places),
                "sensor": item.sensor,
            }
            for factor in item.factors:
                row[factor.factor] = factor.value
                row[f"{factor.factor}_measure"] = factor.measure
                row[f"{factor.factor}_recorded_on"] = factor.from_unit
                row[f"{factor.factor}_from"] = told(factor.places)
            rows.append(row)
        return pd.DataFrame(rows)


def told_between(places: tuple[Place, ...]) -> str:
    """Return the first and the last of a run of lines as ``glucose.csv:79-90``."""
    if len(places) == 2 and places[0].file == places[1].file and places[0].row < places[1].row:
        return f"{places[0].file}:{places[0].row}-{places[1].row}"
    return told(places)


def told(places: Iterable[Place]) -> str:
    """Return places as ``sleep.csv:2; glucose.csv:88-99``, lines that follow each other joined.

    A correction is followed by the row it replaced: ``corrections.csv:2 (for meals.csv:12)``.
    """
    runs: list[tuple[Place, int]] = []
    for place in dict.fromkeys(places):
        first, last = runs[-1] if runs else (place, place.row)
        follows = first.file == place.file and last + 1 == place.row
        if runs and follows and not (first.replaces or place.replaces):
            runs[-1] = first, place.row
        else:
            runs.append((place, place.row))
    return "; ".join(_run(first, last) for first, last in runs)


def _run(first: Place, last: int) -> str:
    rows = f"{first.row}" if first.row == last else f"{first.row}-{last}"
    origin = f" (for {first.replaces[0]}:{first.replaces[1]})" if first.replaces else ""
    return f"{first.file}:{rows}{origin}"
