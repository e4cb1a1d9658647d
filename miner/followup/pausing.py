"""When a test waits for a caution that came after it was planned, and which pairs that leaves out.

Nothing is lost meanwhile: ticks and records stay. A pair counts where neither of its periods began
while the test was paused: after the readings had met the rule, and before that was lifted. Nobody
knows on which day an answer at the intake became true, so an answer pauses and leaves no pair out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from miner.core.messages import Words
from miner.core.results import CautionText, PlanPeriod
from miner.tables.referral import held_back


@dataclass(frozen=True, slots=True)
class Pause:
    """A stretch of days on which a test waits.

    Attributes:
        since: the day on which the readings had met a rule, ISO; empty where that is not known.
        until: the day on which that was lifted, ISO; empty while the test waits.
        why: what it waits for.
    """

    since: str
    until: str
    why: tuple[Words, ...]

    def covers(self, day: str) -> bool:
        """Say whether the test waits on a day, ISO."""
        return self.since <= day and (not self.until or day < self.until)

    def holds(self, day: str) -> bool:
        """Say whether a period that begins on a day, ISO, begins within it."""
        return bool(self.since) and self.since < day and (not self.until or day < self.until)


def pauses_of(cautions: Sequence[CautionText], topic: str, planned_on: str) -> tuple[Pause, ...]:
    """Return when a test had to wait, the days of each caution; those that are over first.

    A test is not planned while something holds it back, so whatever does so now came later.

    Args:
        cautions: what has to be said of the client.
        topic: what the habit of the test is about.
        planned_on: ISO date; what was met before had been lifted by then.
    """
    waits, _ = held_back(cautions, topic)
    over = [
        Pause(one.since, dict(one.opened)[topic], (one.reason,))
        for one in cautions
        if topic in dict(one.opened) and planned_on <= one.since < dict(one.opened)[topic]
    ]
    later = [one.since for one in waits if one.since >= planned_on]
    now = [Pause(min(later, default=""), "", tuple(one.reason for one in waits))] if waits else []
    return (*sorted(over, key=lambda one: one.since), *now)


def pairs_left_out(periods: Sequence[PlanPeriod], pauses: Sequence[Pause]) -> frozenset[int]:
    """Return the pairs of which a period began while the test was paused."""
    return frozenset(one.pair for one in periods for each in pauses if each.holds(one.first))
