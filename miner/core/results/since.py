"""What was changed between the first look at some days and the answer that rests on them."""

from __future__ import annotations

from dataclasses import dataclass

from miner.core.results.base import Result


@dataclass(frozen=True, slots=True, repr=False)
class Since(Result):
    """What stands between the first look at days and what they are said to show.

    Attributes:
        changed: days, ISO, whose records were added to, corrected or changed since.
        left_out: days left out since.
        without: what the answer would be without leaving them out; None where nothing is.
        seen: days that do not count, for their readings had been looked at under other dates.
        settings: whether settings that bear on the answer were changed since.
        over_before: units that count though their day was over when it was written down.
    """

    changed: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    without: str | None = None
    seen: tuple[str, ...] = ()
    settings: bool = False
    over_before: int = 0
