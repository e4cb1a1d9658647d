"""How well all factors together foretold held-back units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from miner.core.messages import Words
from miner.core.results.base import Worded


@dataclass(frozen=True, slots=True, repr=False)
class Together(Worded):
    """All factors together against the average of the units before, on held-back units.

    Attributes:
        better: the gain is at least two standard errors; None where it is undefined.
        units_held_back: units that were foretold; ``nearer`` of them by the factors.
        reason: why it is undefined, or "".
    """

    outcome: str
    better: bool | None
    folds: int
    units_held_back: int
    mse_model: float
    mse_average: float
    skill: float
    gain: float
    gain_se: float
    nearer: int
    reason: Words

    SAID: ClassVar[Mapping[str, tuple[str, ...]]] = {"reason": ("sentence",)}

    @property
    def sentence(self) -> str:
        """Whether all habits together foretold later units better than the average did."""
        return str(self.said("sentence"))
