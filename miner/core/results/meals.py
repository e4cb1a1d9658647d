"""Repeated meals that differ in one factor, side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from miner.core.facts import Result
from miner.core.messages import Words

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, repr=False)
class MealSide(Result):
    """One meal of a pair.

    Attributes:
        unit: its start on the wall clock.
        meal: breakfast, lunch, dinner, snack, or empty.
        carbs_g: grams, None if not noted.
        value: the outcome, in its own unit.
        curve: (minutes after its start, mg/dL above its own level before) of each reading.
    """

    unit: str
    meal: str
    label: str
    carbs_g: float | None
    value: float
    curve: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class MealPair(Result):
    """A meal with the factor next to a similar one without it.

    Attributes:
        difference: with minus without.
        similar_by: "label", or "carbohydrate and time".
        also_differs: other habits in which the two differ, by name.
    """

    with_: MealSide
    without: MealSide
    difference: float
    similar_by: str
    also_differs: tuple[str, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Repeats(Result):
    """How much the same meal differs by itself.

    Attributes:
        pairs: pairs of meals with the same label, a similar amount and time of day, none twice.
        spread: SD of the difference of two of them, None with fewer than three pairs.
    """

    pairs: int
    spread: float | None


@dataclass(frozen=True, slots=True, repr=False)
class MealComparison(Result):
    """Pairs of similar meals with and without one factor; to be looked at, not a test."""

    client: str
    factor: str
    outcome: str
    unit: str
    pairs: tuple[MealPair, ...]
    lower: int
    higher: int
    middle_difference: float | None
    repeats: Repeats
    with_: int
    without: int
    unknown: int
    sentence: Words = ""
    notes: tuple[Words, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return one row a pair; ``attrs["units"]``: the unit of each column that has one."""
        import pandas as pd

        rows = [
            {
                "with": pair.with_.unit,
                "with_label": pair.with_.label,
                f"with_{self.outcome}": pair.with_.value,
                "without": pair.without.unit,
                "without_label": pair.without.label,
                f"without_{self.outcome}": pair.without.value,
                "difference": pair.difference,
                "similar_by": pair.similar_by,
                "also_differs": " + ".join(pair.also_differs),
            }
            for pair in self.pairs
        ]
        frame = pd.DataFrame(rows)
        values = (f"with_{self.outcome}", f"without_{self.outcome}", "difference")
        frame.attrs["units"] = dict.fromkeys(values, self.unit)
        return frame
