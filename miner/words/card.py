"""One pattern as a client reads of it: its message, its counts, its size, how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from miner.core.messages import Message, several
from miner.core.results import DoubtCode, Evidence, Hypothesis, Shape
from miner.core.results.follow import Offer
from miner.words.choosing import WAITS, options
from miner.words.pages import cut_at
from miner.words.pattern import other_of
from miner.words.safe import clean
from miner.words.sentences import (
    ABOUT_A_MONTH,
    comparison_sentence,
    evidence_of,
    luck_count,
)
from miner.words.wording import capital, full_date, listed, say

if TYPE_CHECKING:
    from miner.words.teller import Teller

TOLD = (Evidence.CLEAR, Evidence.HINT)


@dataclass(frozen=True, slots=True)
class Card:
    """One hypothesis on a client's page; without numbers where it is calm.

    Attributes:
        teller: of the ranking that it is in.
        item: what it tells.
    """

    teller: Teller
    item: Hypothesis

    def told(self) -> dict[str, Any]:
        """Return all words of the card."""
        teller, item = self.teller, self.item
        offer = teller.brief.offers.get(item.id, Offer({}))
        told = {
            "id": item.id,
            "outcome": item.outcome,
            "label": self.name,
            "title": self.title(),
            "evidence": evidence_of(item, teller.rules, client=True),
            "asked": self.asked(),
            "before": teller.ended(item),
            "along": self.along(),
            "backwards": self.backwards(),
            "tries": self.tries(),
            "choices": options(offer),
            "waits": WAITS.get(offer.lift, ""),
            "calm": teller.brief.calm,
        }
        if teller.brief.calm:
            return told
        return told | {
            "counts": f"{self.counted()} {self.rates() if item.evidence in TOLD else ''}".strip(),
            "means": self.means(),
            "size": self.size(),
            "luck": self.luck(),
            "sure": [*self.between(), *self.reasons(), *self.further(), *self.allowed_for()],
            "dose": item.shape is Shape.DOSE,
            "real": self.real(),
            "high": item.counts.high > 0,
            "pairs": self.pairs(),
        }

    @property
    def name(self) -> str:
        """The glucose measure, as a client calls it."""
        return self._measure("name") or self.teller.label(self.item)

    @property
    def changed(self) -> str:
        """More or less of the glucose measure, as a noun."""
        difference = self.item.difference or 0.0
        own = self._measure("down" if difference < 0 else "up")
        way = "lower" if difference < 0 else "higher"
        return own or f"{way} {self.teller.label(self.item)}"

    @property
    def habit(self) -> str:
        """The habit; of a dose that is claimed, the amount that it goes by."""
        told = self.item.evidence in TOLD and not self.teller.brief.calm
        return (told and self.teller.each_more(self.item)) or self.teller.phrases(self.item)

    def title(self) -> str:
        """Return the message, as strong as its level and no stronger."""
        key = str(self.item.evidence)
        if self.teller.brief.calm:
            return self._say("calm", key, **self._names())
        if self.item.evidence in TOLD:
            key = f"{key}_{self.relation()}"
        return self._say("card", key, **self._names())

    def counted(self) -> str:
        """Return the counts of both groups; the means where these tell more."""
        counts, teller = self.item.counts, self.teller
        if not counts.known or (not counts.with_ and not counts.without):
            return self._say("card", "no_units", unit=teller.unit)
        factors = teller.factors(self.item)
        key = "counted_together" if len(factors) == 2 else f"counted_{self.relation()}"
        said = [
            self._say(
                "card",
                key,
                was_high=self._measure("was_high") or f"your {self.name} was high",
                with_=counts.with_,
                with_high=counts.with_high,
                without=counts.without,
                without_high=counts.without_high,
                with_words=self.with_words(),
            )
        ]
        return " ".join([*said, *self._against_counts()])

    def rates(self) -> str:
        """Return unequal counts once more, out of 100; nothing where there is no need."""
        counts = self.item.counts
        if not counts.with_ or not counts.without or counts.with_ == counts.without:
            return ""
        of_each = ((counts.with_high, counts.with_), (counts.without_high, counts.without))
        with_rate, without_rate = (round(100 * high / of) for high, of in of_each)
        return self._say("card", "rates", with_rate=with_rate, without_rate=without_rate)

    def _against_counts(self) -> list[str]:
        """Return the means where the counts of high units point against the difference."""
        counts, item, amounts = self.item.counts, self.item, self.teller.amounts
        if item.means is None or not (counts.with_ and counts.without and item.difference):
            return []
        more = counts.with_high / counts.with_ - counts.without_high / counts.without
        if more * item.difference >= 0:
            return []
        means = (amounts.level(value, item.unit) for value in item.means)
        return [
            self._say(
                "card",
                "means",
                name=self.name,
                with_words=self.with_words(),
                unit=amounts.unit(item.unit),
                **dict(zip(("mean_with", "mean_without"), means, strict=True)),
            )
        ]

    def means(self) -> list[str]:
        """Return where the habit begins, and what high is."""
        rules, found = self.teller.rules, []
        known = {} if self.item.shape is Shape.DOSE else rules.wording["card_means"]
        for name, rule in zip(self.item.factors, self.teller.factors(self.item), strict=True):
            if name in known:
                found.append(self._say("card_means", name, at=cut_at(rule)))
        high = self._measure("high") or "high"
        return [*found, self._say("card", "high", high=capital(high))]

    def size(self) -> str:
        """Return how large it was, and how large it is looked for from now on."""
        item = self.item
        if item.difference is None:
            return ""
        each = self.teller.each_more(item)
        values = {"size": self._size(item.difference), "unit": self._unit, "each": each}
        way = self._say("card", "more" if item.difference > 0 else "less")
        said = [self._say("card", "size_each" if each else "size", way=way.lower(), **values)]
        expected = item.expected_on_new_days
        if expected is not None and item.evidence is Evidence.CLEAR:
            said.append(self._say("card", "expected", size=self._size(expected)))
        if item.small:
            worth = self.teller.outcome(item).smallest_worth_it / item.span
            said.append(self._say("card", "too_small", worth=self._size(worth), unit=self._unit))
        return " ".join(said)

    def between(self) -> list[str]:
        """Return between what the difference may really be."""
        ends = self.item.interval
        if not ends or not self.item.difference:
            return []
        low, high = (self._size(end) for end in ends)
        if ends[0] * ends[1] <= 0:
            return [self._say("card", "between_none", low=low, high=high)]
        near, far = (low, high) if ends[0] > 0 else (high, low)
        return [self._say("card", "between", near=near, far=far)]

    def luck(self) -> str:
        """Return how often luck alone would show as much; nothing where nothing is claimed."""
        found = luck_count(self.item)
        if self.item.evidence not in TOLD or found is None:
            return ""
        family, count = found
        key = {"search": "luck", "fixed": "luck_fixed"}[family]
        key += "_rare" if count < 1 else ""
        low, high = ABOUT_A_MONTH
        spans = "months" if low <= self.teller.brief.check.days <= high else "records"
        return self._say("card", key, count=count, spans=self._say("card", spans).lower())

    def along(self) -> str:
        """Return what often came along; nothing of a habit that is not to be named."""
        told = [name for name in self.item.travels_with if not self.teller.hides(name)]
        names = self.teller.travels(told)
        return self._say("card", "along", names=clean(listed(names, "or"))) if names else ""

    def backwards(self) -> str:
        """Return that it could run the other way, where it could."""
        key = f"backwards_{self.item.relation}"
        return self._say("card", key) if self.item.could_run_backwards else ""

    def backwards_at_home(self) -> str:
        """Return in a sentence of its own that it could run the other way, where it could."""
        return self._say("home", "backwards") if self.item.could_run_backwards else ""

    def reasons(self) -> list[str]:
        """Return why it is only a hint, or why we could not tell."""
        item, teller, said = self.item, self.teller, []
        for code in dict.fromkeys(str(doubt.code) for doubt in item.doubts):
            doubts = [doubt for doubt in item.doubts if str(doubt.code) == code]
            if code == DoubtCode.CONFOUNDER:
                doubts = [doubt for doubt in doubts if not teller.hides(doubt.other or "")]
            if doubts:
                other = other_of(doubts, teller.rules, teller.unit)
                said.append(
                    self._say("card_doubt", code, other=clean(other), units=f"{teller.unit}s")
                )
        notes = [*([item.withheld.reason] if item.withheld else []), *item.notes]
        return said + [_sentence(str(note)) for note in notes if not self._names_hidden(note)]

    def _names_hidden(self, note: Message | str) -> bool:
        name = note.values.get("factor", "") if isinstance(note, Message) else ""
        return self.teller.hides(str(name))

    def further(self) -> list[str]:
        """Return how many more days would tell, where more would."""
        if self.item.evidence in (Evidence.CLEAR, Evidence.LITTLE_SIGN):
            return []
        if not self.item.days_to_settle:
            return []
        further = several(self.item.days_to_settle, "more day")
        return [self._say("card", "further", further=further)]

    def tries(self) -> list[str]:
        """Return what the client could try."""
        return self.teller.tries(self.item)

    def allowed_for(self) -> list[str]:
        """Return what every comparison of meals allows for."""
        if self.teller.unit != "meal":
            return []
        factors = self.teller.factors(self.item)
        own = any("carbs_g" in factor.made_from for factor in factors)
        return [self._say("card", "meals_own" if own else "meals")]

    def asked(self) -> str:
        """Return when the client wrote it down as a question."""
        if self.item.family != "fixed" or not self.item.fixed_on:
            return ""
        key = "asked_told" if self.item.fixed_proven is False else "asked"
        return self._say("card", key, day=full_date(self.item.fixed_on))

    def pairs(self) -> dict[str, Any] | None:
        """Return similar meals with and without it side by side, or None without any."""
        found, teller = self.teller.brief.pairs.get(self.item.id), self.teller
        if found is None:
            return None
        sentence = comparison_sentence(found, teller.rules, teller.brief.display_unit)
        spread, said = found.repeats.spread, [sentence]
        if spread is not None:
            size = {"size": self._size(spread), "unit": self._unit}
            said.append(self._say("card", "alike", **size))
        return {"said": [clean(text) for text in said]}

    def real(self) -> int | None:
        """Return which panel of its line-up is the recorded one, counted from 1."""
        found = self.teller.brief.lineups.get(self.item.id)
        return None if found is None else found.real + 1

    @property
    def _unit(self) -> str:
        unit = self.teller.amounts.unit(self.item.unit)
        return "minutes" if unit == "min" else unit

    def _size(self, value: float) -> str:
        return self.teller.amounts.level(abs(value), self.item.unit)

    def with_words(self) -> str:
        """Return the habit, as several of them."""
        return clean(self.teller.factors(self.item)[0].with_many, 60)

    def relation(self) -> str:
        """Return how it stands in time: what is a piece of a meal does not come before it."""
        return "same_day" if self.teller.unit == "meal" else self.item.relation

    def _names(self) -> dict[str, str]:
        return {"habit": clean(self.habit), "changed": self.changed, "name": self.name}

    def _measure(self, what: str) -> str:
        return measure_word(self.teller, what, self.item.outcome)

    def _say(self, table: str, key: str, **values: Any) -> str:
        return capital(say(self.teller.rules, table, key, **values))


def measure_word(teller: Teller, what: str, outcome: str) -> str:
    """Return what a client calls a glucose measure; nothing where the practice added it.

    Args:
        teller: of the ranking that it is in.
        what: name, high, was_high, up or down.
        outcome: its name.
    """
    key = teller.rules.key_of(outcome, teller.unit)
    return str(teller.rules.wording[f"card_{what}"].get(key, ""))


def _sentence(text: str) -> str:
    return f"{capital(clean(text)).rstrip('.')}."
