"""What was changed between the first look at some days and the answer that rests on them."""

from __future__ import annotations

from dataclasses import dataclass

from miner.core.messages import Message, by_rules, message
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

    def messages(
        self, rules: object, without: object = None, unit: str = "day"
    ) -> tuple[Message, ...]:
        """Return every change as a message of its own.

        Args:
            rules: the rule books, for the words.
            without: the answer without leaving days out; where days were left out.
            unit: "day" or "meal".
        """

        def of(name: str, days: tuple[str, ...]) -> list[Message]:
            shown = by_rules(rules, "labels.some_of", days=days)
            return [by_rules(rules, f"wording.since.{name}", days=shown)] if days else []

        said = [*of("changed", self.changed), *of("left_out", self.left_out)]
        if self.left_out and without is not None:
            said.append(by_rules(rules, "wording.since.without", answer=without))
        said += of("seen", self.seen)
        said += [by_rules(rules, "wording.since.settings")] if self.settings else []
        if self.over_before:
            count = message(f"steps.new_{unit}s", count=self.over_before)
            said.append(by_rules(rules, "wording.since.over_before", count=count))
        return tuple(said)
