"""One eating occasion: whatever was logged within a quarter of an hour."""

from __future__ import annotations

from dataclasses import dataclass

from miner.tables.clockwork import HOUR
from miner.tables.columns import Source

MAIN = ("breakfast", "lunch", "dinner")


@dataclass(frozen=True, slots=True)
class Occasion:
    """Food eaten within a quarter of an hour.

    Attributes:
        at, clock: instant and wall clock of the first row, seconds.
        kind: breakfast, lunch, dinner, snack by the column of meal types, else empty.
        words: the same by the words of the labels, in their order.
        carbs, protein, energy: sums, NaN where any row does not tell.
        carbs_told: the sum of the carbohydrate that is told, g.
        carbs_level, protein_level: the highest level noted, empty where any row has none.
        rows: the rows it is made of.
    """

    at: int
    clock: int
    kind: str
    words: tuple[str, ...]
    carbs: float
    protein: float
    energy: float
    carbs_told: float
    carbs_level: str
    protein_level: str
    rows: tuple[Source, ...]

    def called(self, after_midnight: int, after_waking: int) -> str:
        """Return what it is called: by its type, else by the first word that fits the hour.

        Breakfast fits before 16:00 and within three hours of waking, lunch from 10:00 to 17:00,
        dinner from 15:00 to the end of the day, a snack always, but after the three meals.

        Args:
            after_midnight: its wall clock after the midnight that begins the day's date, seconds.
            after_waking: seconds since waking.
        """
        if self.kind or not self.words:
            return self.kind
        fits = {
            "breakfast": after_midnight < 16 * HOUR or 0 <= after_waking < 3 * HOUR,
            "lunch": 10 * HOUR <= after_midnight < 17 * HOUR,
            "dinner": after_midnight >= 15 * HOUR,
        }
        main = next((word for word in self.words if fits.get(word)), "")
        return main or ("snack" if "snack" in self.words else "")
