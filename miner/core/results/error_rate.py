"""How often an analysis would claim something on months in which nothing is true."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from miner.core.results.base import Result, Worded


@dataclass(frozen=True, slots=True, repr=False)
class FoundRate(Result):
    """How often a true effect of one size is called clear.

    Attributes:
        interval: 95 % Clopper-Pearson interval of the rate, None without any month.
    """

    shift: float
    unit: str
    worlds: int
    found: int
    rate: float | None
    interval: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, repr=False)
class ErrorRate(Worded):
    """The rate of any claim where nothing is true, and how large an effect is found how often.

    Attributes:
        worlds: simulated months in which nothing is true, all of them finished.
        claimed: of these, with at least one clear hypothesis.
        any_claim_interval: 95 % Clopper-Pearson interval of the rate.
        factor, outcome: the rule that is true in the months with an effect.
        moved: months of the client's own outcomes in which each habit was moved by whole weeks.
            They are no independent records, so that their rate has no interval.
        moved_claimed: of these, with at least one clear hypothesis.
        finished: False where it was interrupted.
    """

    client: str
    worlds: int
    draws: int
    seed: int
    claimed: int
    any_claim_rate: float | None
    any_claim_interval: tuple[float, float] | None
    nominal: float
    factor: str | None
    outcome: str | None
    found_rate_at: tuple[FoundRate, ...]
    usable_units: int
    finished: bool
    moved: int = 0
    moved_claimed: int = 0

    SAID: ClassVar[Mapping[str, tuple[str, ...]]] = {"finished": ("sentence",)}

    @property
    def sentence(self) -> str:
        """How often this analysis would claim something where nothing is true."""
        return str(self.said("sentence"))
