"""What a ranking has a row for, and how a habit is compared in it."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from miner.core.messages import MinerError, closest


class Unit(StrEnum):
    """A biological day, or a meal."""

    DAY = "day"
    MEAL = "meal"

    @property
    def other(self) -> Unit:
        """The one that this is not."""
        return Unit.MEAL if self is Unit.DAY else Unit.DAY

    @classmethod
    def of(cls, name: Any) -> Unit:
        """Return the unit of that name.

        >>> Unit.of("meal")
        <Unit.MEAL: 'meal'>

        Raises:
            MinerError: the unit is not known.
        """
        try:
            return cls(name)
        except ValueError:
            close = closest(str(name), list(cls))
            raise MinerError("core.no_unit", name=name, close=close) from None


class Shape(StrEnum):
    """How a habit is compared: units with it and without, or so much more of its measure."""

    CUT = "cut"
    DOSE = "dose"
