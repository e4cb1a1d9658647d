"""One card a hypothesis: what was counted, how large, how lucky, and what to choose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from miner.core.errors import several
from miner.core.results import Evidence, Hypothesis, Shape
from miner.render.drawn import Studio
from miner.words.labels import evidence_of
from miner.words.meal_words import comparison_sentence
from miner.words.safe import clean
from miner.words.sentences import say
from miner.words.teller import Teller
from miner.words.wording import capital, full_date

MEALS_ALLOWED_FOR = (
    "Which meal it was, its carbohydrate where noted, and the level it began at are allowed for."
)
WHICH_MEAL_ALLOWED_FOR = "Which meal it was, and the level it began at, are allowed for."
BACKWARDS = {
    "same_day": "Yes, it could. We do not know why the two came at the same time.",
    "precedes": "Yes, that could be.",
}
_TOLD = (Evidence.CLEAR, Evidence.HINT)


@dataclass(frozen=True, slots=True)
class Cards:
    """Makes the cards of a page from what was chosen."""

    teller: Teller
    studio: Studio

    def card(self, item: Hypothesis) -> dict[str, Any]:
        """Return everything one card shows; without numbers and figures where it is calm."""
        teller, calm = self.teller, self.teller.brief.calm
        told = {
            "id": item.id,
            "outcome": item.outcome,
            "label": teller.label(item),
            "title": teller.title(item),
            "evidence": evidence_of(item, teller.rules, client=True),
            "asked": self._asked(item),
            "before": teller.ended(item),
            "along": list(dict.fromkeys(map(clean, teller.travels(item, teller.hides)))),
            "backwards": BACKWARDS[item.relation] if item.could_run_backwards else "",
            "tries": teller.tries(item),
            "choices": self.choices(item),
        }
        if calm:
            return told | {"calm": True, "sentence": teller.calmly(item)}
        return told | {
            "calm": False,
            "sentence": clean(teller.sentence(item)),
            "difference": self.difference(item),
            "luck": self.luck(item),
            "reasons": teller.reasons(item, teller.hides),
            "settle": self.settle(item),
            "dots": self.studio.dots(item),
            "dose": item.shape is Shape.DOSE,
            "line": self.studio.difference(item),
            "lineup": self.studio.lineup(item),
            "real": self.real(item),
            "high": item.counts.high > 0,
            "pairs": self.pairs(item),
        }

    def pairs(self, item: Hypothesis) -> dict[str, Any] | None:
        """Return similar meals with and without it side by side, or None without any."""
        found, teller = self.teller.brief.pairs.get(item.id), self.teller
        if found is None:
            return None
        found = comparison_sentence(found, teller.rules, teller.brief.display_unit)
        spread, said = found.repeats.spread, [found.sentence]
        if spread is not None:
            size, unit = self._size(spread, item), teller.amounts.unit(item.unit)
            said.append(f"The same meal twice differs by about {size} {unit} by itself.")
        return {
            "figure": self.studio.pairs(item, found),
            "said": [clean(text) for text in said],
        }

    def difference(self, item: Hypothesis) -> list[str]:
        """Return the difference beside its interval, what matters and what is ordinary."""
        if item.difference is None:
            return []
        teller, unit = self.teller, self.teller.amounts.unit(item.unit)
        way = "higher" if item.difference > 0 else "lower"
        size = self._size(item.difference, item)
        each = teller.each_more(item) or "it"
        said = [f"{capital(teller.label(item))} was about {size} {unit} {way} with {each}."]
        said += [f"It could be {self._between(item.interval, item)}."] if item.interval else []
        worth = teller.outcome(item).smallest_worth_it / item.span
        said.append(f"Less than {self._size(worth, item)} is too small to matter.")
        summary = teller.summary(item)
        whole = item.shape is Shape.CUT
        if whole and summary is not None and summary.ordinary_wobble is not None:
            wobble, one = self._size(summary.ordinary_wobble, item), teller.unit
            said.append(f"From {one} to {one} it wobbles by about {wobble} {unit} anyway.")
        if teller.unit == "meal":
            own = any("carbs_g" in factor.made_from for factor in teller.factors(item))
            said.append(WHICH_MEAL_ALLOWED_FOR if own else MEALS_ALLOWED_FOR)
        return said

    def luck(self, item: Hypothesis) -> str:
        """Return how often luck alone would show as much."""
        return item.luck_sentence if item.evidence in _TOLD else ""

    def settle(self, item: Hypothesis) -> str:
        """Return what would settle it."""
        if item.evidence is Evidence.CLEAR:
            return "A test of your own would: some weeks with, some without, by the toss of a coin."
        if item.evidence is Evidence.LITTLE_SIGN:
            return "Little is left to settle."
        if item.days_to_settle:
            return f"About {several(item.days_to_settle, 'more day')} of notes mostly would."
        return "More days with it and without it might."

    def choices(self, item: Hypothesis) -> list[tuple[str, str]]:
        """Return what may be chosen, each with what it means."""
        factors, tries = self.teller.factors(item), self.teller.tries(item)
        found = []
        if self.teller.testable(item):
            found.append(("Test it", "Some weeks yes, some weeks no."))
        if tries and all(factor.worth_doing_anyway for factor in factors):
            found.append(("Do it anyway", "It is a good thing in any case."))
        if item.evidence is not Evidence.LITTLE_SIGN:
            found.append(("Watch it", "Look again with new days."))
        return [*found, ("Leave it", "Look at other things.")]

    def _asked(self, item: Hypothesis) -> str:
        if item.family != "fixed" or not item.fixed_on:
            return ""
        key = "told" if item.fixed_proven is False else "proven"
        return say(self.teller.rules, "fixed", key, day=full_date(item.fixed_on))

    def real(self, item: Hypothesis) -> int | None:
        """Return which panel of its line-up is the recorded one, counted from 1."""
        found = self.teller.brief.lineups.get(item.id)
        return None if found is None else found.real + 1

    def _size(self, value: float, item: Hypothesis) -> str:
        return self.teller.amounts.size(abs(value), item.unit).removesuffix(".0")

    def _between(self, ends: tuple[float, float], item: Hypothesis) -> str:
        unit = self.teller.amounts.unit(item.unit)
        low, high = (self._size(end, item) for end in ends)
        if ends[0] * ends[1] < 0:
            return f"anything from {low} {unit} lower to {high} {unit} higher"
        near, far = sorted((low, high), key=float)
        return f"anything from {near} to {far} {unit} {'higher' if ends[1] > 0 else 'lower'}"
