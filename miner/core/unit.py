"""What a ranking has a row for."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from miner.core.errors import MinerError, nearest


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
            MinerError: there is no such unit.
        """
        try:
            return cls(name)
        except ValueError:
            hint = nearest(str(name), list(cls))
            raise MinerError(
                f"there is no unit {name!r}", "'day' or 'meal'", hint or "Choose one of the two."
            ) from None
