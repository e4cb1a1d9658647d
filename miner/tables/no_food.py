"""Rows of the meal log that are no food: a low was treated, a medicine noted, nothing told."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from miner.rulebook import Cautions
from miner.tables.columns import Source, fold, whole_words
from miner.tables.labels_of_food import parts_of, said, without_amounts


class NoFood(StrEnum):
    """Why a row of the meal log is no food.

    Values:
        TYPE: the column of meal types says so.
        LOW: by its label it treats a low.
        MEDICINE: by its label it notes a medicine and nothing else.
        NOTHING: by its label nothing was eaten.
        NOT_REPORTED: by its label nothing is told, and no amount is.
    """

    TYPE = "type"
    LOW = "low"
    MEDICINE = "medicine"
    NOTHING = "nothing"
    NOT_REPORTED = "not_reported"


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the meal log that is no food.

    Attributes:
        at: its instant, seconds.
        meal: what the column of meal types says: breakfast, lunch, dinner, snack, else empty.
        taken: whether something with carbohydrate was taken in, or may have been.
    """

    why: NoFood
    at: int
    meal: str
    label: str
    taken: bool
    row: Source


@dataclass(frozen=True, slots=True)
class FoodWords:
    """The words of the rule book that tell what is no food."""

    low: re.Pattern[str]
    low_whole: frozenset[str]
    medicine: re.Pattern[str]
    nothing: frozenset[str]
    not_reported: frozenset[str]

    @classmethod
    def of(cls, cautions: Cautions) -> FoodWords:
        """Return the words of a rule book."""
        return cls(
            whole_words(cautions.low_treatment_words),
            frozenset(map(fold, cautions.low_treatment_labels)),
            whole_words(cautions.medicine_words),
            frozenset(map(fold, cautions.nothing_eaten_labels)),
            frozenset(map(fold, cautions.not_reported_labels)),
        )

    def why(self, label: str, amount: bool) -> NoFood | None:
        """Return why a row is no food by its label, or None where it may be food.

        Args:
            label: as noted.
            amount: whether energy, carbohydrate, protein or fat above 0 is told.
        """
        text = said(label)
        if not text:
            return None
        if self.low.search(text):
            return NoFood.LOW
        for why, listed in (
            (NoFood.NOTHING, self.nothing),
            (NoFood.NOT_REPORTED, self.not_reported),
        ):
            if not amount and {text, without_amounts(text)} & listed:
                return why
        parts = parts_of(label)
        if parts and all(self.is_none(part) for part in parts):
            low = any(without_amounts(part) in self.low_whole for part in parts)
            return NoFood.LOW if low else NoFood.MEDICINE
        return None

    def is_none(self, part: str) -> bool:
        """Say whether one part of a label is no food: a medicine, or what treats a low."""
        return without_amounts(part) in self.low_whole or bool(self.medicine.search(part))
