"""What may be told of a client's results, and in which words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from miner.core.messages import Message, message, several
from miner.core.results import Doubt, DoubtCode, Evidence, Hypothesis, OutcomeSummary
from miner.rulebook import FactorRule, OutcomeRule, RuleBook
from miner.words.amounts import Amounts, chance
from miner.words.cautions import CautionBlocks
from miner.words.document import Paragraph, Parts
from miner.words.pattern import CLAIMED, counted, headline, other_of, sentence, size_words
from miner.words.safe import clean
from miner.words.sentences import (
    against_guess,
    each_more,
    ended_words,
    evidence_of,
    factor_phrase,
    factor_words,
    on_a_told_date,
    outcome_label,
    reason_words,
    verdict,
)
from miner.words.wording import (
    capital,
    client_always,
    dated,
    full_date,
    listed,
    say,
)

if TYPE_CHECKING:
    from miner.core.results.briefing import Briefing, TimeOfDay
    from miner.core.results.caseload import PooledEffect


def doubt_sentences(
    item: Hypothesis | PooledEffect,
    rules: RuleBook,
    unit: str = "day",
) -> list[str]:
    """Return why what passes is a hint all the same, a text a reason.

    Args:
        item: what was found in one person, or across clients.
        rules: the rule books.
        unit: "day" or "meal".
    """
    table = "doubt" if isinstance(item, Hypothesis) else "pooled_doubt"
    least = 1 - rules.guardrails.shrink_when_one_unit_left_out
    values = {"units": f"{unit}s", "some": f"{capital(unit)}s", "share": f"{least:.0%}"}
    by_code: dict[str, list[Doubt]] = {}
    for doubt in item.doubts:
        by_code.setdefault(str(doubt.code), []).append(doubt)
    return [
        say(rules, table, code, other=other_of(doubts, rules, unit), **values)
        for code, doubts in by_code.items()
    ]


BY_HAND = "…………"
"""Where a number is filled in by hand."""


@dataclass(frozen=True, slots=True)
class HypothesisTeller:
    """Tells hypotheses of one unit ("day" or "meal") in the words of one rule book."""

    rules: RuleBook
    amounts: Amounts
    unit: str = "day"

    def parts(self, item: Hypothesis, *, lead: str | None = None) -> Parts:
        """Return a pattern: what came before what, and below it what is known of it.

        Args:
            item: what is told.
            lead: its number.
        """
        head = headline(item, self.rules, self.unit, self.amounts)
        below = None if lead is None else ""
        told = [clean(text, 2000) for text in (head, self.told(item))]
        return [Paragraph(told[0], lead=lead), Paragraph(told[1], lead=below)]

    def told(self, item: Hypothesis) -> str:
        """Return what is known of a pattern: its counts, size, luck and doubts."""
        claimed = item.evidence in CLAIMED
        said = [counted(item, self.rules, self.unit, self.amounts)]
        said.append(size_words(item, self.rules, self.unit, self.amounts))
        said += [item.luck_sentence] if claimed else []
        said += [self.along(item)]
        backwards = claimed and item.could_run_backwards
        said += [say(self.rules, "sentence", "backwards")] if backwards else []
        doubts = doubt_sentences(item, self.rules, self.unit)
        said += [evidence_of(item, self.rules)] if on_a_told_date(item) else []
        said += [*self._aside(item), *doubts, *map(str, item.notes)]
        return " ".join(text for text in said if text)

    def along(self, item: Hypothesis) -> str:
        """Return what often came along with it and is not named elsewhere, or nothing."""
        said: set[object] = {
            doubt.other for doubt in item.doubts if doubt.code is DoubtCode.CONFOUNDER
        }
        said |= {note.values.get("factor") for note in item.notes if isinstance(note, Message)}
        along = [name for name in item.travels_with if name not in said]
        if not along:
            return ""
        names = listed([factor_words(name, self.rules, self.unit) for name in along])
        return say(self.rules, "sentence", "along", names=capital(names))

    def exact(self, item: Hypothesis) -> str:
        """Return the ID, and the difference with what to expect on new days to the last digit."""
        text = f"{item.id}: {self.difference(item)}"
        if item.expected_on_new_days is not None:
            expected = self.amounts.difference(item.expected_on_new_days, item.unit)
            text += f"; on new {self.unit}s {expected}"
        p, adjusted = chance(item.p), chance(item.p_adjusted)
        return f"{text}; p {p}, and {adjusted} with all patterns counted in."

    def difference(self, item: Hypothesis) -> str:
        """Return the difference with its unit and its interval."""
        if item.difference is None:
            return "not known"
        unit, show = item.unit, self.amounts
        text = f"{show.difference(item.difference, unit)} {show.unit(unit)}"
        each = each_more(item, self.rules, self.unit)
        text += f" for {each}" if each else ""
        return text if item.interval is None else f"{text} ({show.interval(item.interval, unit)})"

    def _aside(self, item: Hypothesis) -> list[str]:
        said = [capital(reason_words(item.withheld))] if item.withheld else []
        said += self.fixed(item)
        if item.tried_before:
            ended = ended_words(item.tried_before, self.rules)
            said.append(say(self.rules, "follow", "tried_before", ended=ended))
        if item.evidence is Evidence.CANNOT_TELL:
            said += self._cannot_tell(item)
        return [text for text in said if text]

    def fixed(self, item: Hypothesis) -> list[str]:
        """Return when a question was fixed, its guess, and whether it went the other way."""
        if not item.fixed_on:
            return []
        key = "told" if item.fixed_proven is False else "proven"
        said = [say(self.rules, "fixed", key, day=dated(item.fixed_on))]
        if item.guess in ("up", "down"):
            said.append(say(self.rules, "fixed", f"guess_{item.guess}"))
            said.append(against_guess(item, self.rules))
        return [text for text in said if text]

    def _cannot_tell(self, item: Hypothesis) -> list[str]:
        said = []
        if item.unlikely_beyond is not None and item.withheld is None:
            unit, show = item.unit, self.amounts
            size = show.about(item.unlikely_beyond, unit)
            each = each_more(item, self.rules, self.unit)
            size += f" for {each}" if each else ""
            said.append(say(self.rules, "cannot_tell", "unlikely", size=size))
        if item.days_to_settle:
            further = several(item.days_to_settle, "new day")
            said.append(say(self.rules, "cannot_tell", "settle", further=further))
        return said


@dataclass(frozen=True, slots=True)
class Teller:
    """Chooses and words what a page shows.

    Attributes:
        include: the IDs that were chosen; nothing else of the search reaches a client's page.
    """

    brief: Briefing
    rules: RuleBook
    include: tuple[str, ...] = ()

    @property
    def amounts(self) -> Amounts:
        """Numbers in the practice's unit."""
        return Amounts(self.brief.display_unit)

    @property
    def unit(self) -> str:
        """``day`` or ``meal``."""
        return self.brief.ranking.unit

    @property
    def hypothesis(self) -> HypothesisTeller:
        """What words one hypothesis."""
        return HypothesisTeller(self.rules, self.amounts, self.unit)

    def each(self) -> Iterator[Teller]:
        """Return the teller of the ranking itself, then that of the meals beside it."""
        yield self
        if self.brief.by_meal is not None:
            yield replace(self, brief=replace(self.brief, ranking=self.brief.by_meal, by_meal=None))

    @property
    def cautions(self) -> CautionBlocks:
        """The cautions of the client."""
        return CautionBlocks(self.brief.check.cautions)

    @property
    def actions(self) -> list[str]:
        """What the client is told of a clinician; once told, in a line with the date."""
        day = self.cautions.told_on
        return [*self.brief.actions, *([str(message("words.client_told", day=day))] if day else [])]

    @property
    def client(self) -> str:
        """The client's code, harmless to print."""
        return clean(self.brief.client, 60)

    @property
    def span(self) -> tuple[str, str] | None:
        """First and last day in words, or None without any."""
        check = self.brief.check
        if check.first_day is None or check.last_day is None:
            return None
        return full_date(check.first_day), full_date(check.last_day)

    @property
    def days(self) -> str:
        """How long the record is, as a client is told: no number where there are to be none."""
        return "days" if self.brief.calm else several(self.brief.check.days, "day")

    def always(self) -> list[str]:
        """Return what every client is reminded of, and what the page is about."""
        closing = say(self.rules, "home", "closing", days=self.days)
        return [*client_always(self.rules, self.call, self.days), closing]

    @property
    def call(self) -> str:
        """When a client calls a doctor: at the numbers agreed on, or at those written by hand."""
        if self.brief.calm:
            return say(self.rules, "home", "call_calm")
        ends = self.brief.call
        told = [self.amounts.level(end, "mg/dL") for end in ends] if ends else [BY_HAND] * 2
        return say(self.rules, "home", "call", below=told[0], above=told[1])

    def level(self, evidence: Evidence) -> list[Hypothesis]:
        """Return what the search found of one level."""
        return [
            item
            for item in self.brief.ranking.hypotheses
            if item.evidence is evidence and item.family != "fixed"
        ]

    def chosen(self) -> list[Hypothesis]:
        """Return what was chosen, in the order of the ranking; nothing about food where feared."""
        return [
            item
            for item in self.brief.ranking.hypotheses
            if item.id in self.include and not (self.cautions.stops and self.about_food(item))
        ]

    def questions(self) -> list[Hypothesis]:
        """Return the client's own fixed questions; one about food only if it was chosen."""
        return [
            item
            for item in self.brief.ranking.hypotheses
            if item.family == "fixed"
            and (not self.about_food(item) or (item.id in self.include and not self.cautions.stops))
        ]

    def about_food(self, item: Hypothesis) -> bool:
        """Say whether any factor is about food; where that is feared, meals and their times too."""
        meals = self.cautions.stops
        return any(rule.food or (meals and rule.stream == "meals") for rule in self.factors(item))

    def factors(self, item: Hypothesis) -> list[FactorRule]:
        """Return the rules of its factors."""
        return [self.rules.factor(name, self.unit) for name in item.factors]

    def outcome(self, item: Hypothesis) -> OutcomeRule:
        """Return the rule of its outcome."""
        return self.rules.outcome(item.outcome, self.unit)

    def summary(self, item: Hypothesis) -> OutcomeSummary | None:
        """Return what the record could show in its outcome."""
        return next((o for o in self.brief.ranking.outcomes if o.name == item.outcome), None)

    @property
    def verdict(self) -> str:
        """What the records say, in one line."""
        return verdict(self.brief.ranking, self.rules, self.amounts)

    def sentence(self, item: Hypothesis) -> str:
        """Return its counts in words, and of a dose its slope."""
        return sentence(item, self.rules, self.unit, self.amounts)

    def label(self, item: Hypothesis) -> str:
        """Return the words of its outcome."""
        return outcome_label(item.outcome, self.rules, self.unit)

    def phrases(self, item: Hypothesis) -> str:
        """Return the words of its factors."""
        return listed([factor_phrase(name, self.rules, self.unit) for name in item.factors])

    def measure(self, item: Hypothesis) -> str:
        """Return the words of what its one factor is measured by."""
        rule = self.factors(item)[0]
        return str(self.rules.wording["measure"].get(rule.measure, rule.phrase))

    def each_more(self, item: Hypothesis) -> str:
        """Return what its difference is for: "each hour less sleep"; of a cut nothing."""
        return each_more(item, self.rules, self.unit)

    def title(self, item: Hypothesis) -> str:
        """Return the words of its factors and its outcome."""
        return capital(f"{self.phrases(item)}, and {self.label(item)}")

    def travels(self, names: Sequence[str]) -> list[str]:
        """Return the words of what often came along."""
        return [factor_phrase(name, self.rules, self.unit) for name in names]

    def hides(self, name: str) -> bool:
        """Say whether a habit is not named to a client: about food, and not chosen."""
        told = {factor for item in self.chosen() for factor in item.factors}
        if not name or name in told:
            return False
        rule = self.rules.factor(name, self.unit)
        return rule.food or (self.cautions.stops and rule.stream == "meals")

    def ended(self, item: Hypothesis) -> str:
        """Return how an earlier test of it ended, or nothing where there was none."""
        return ended_words(item.tried_before, self.rules) if item.tried_before else ""

    def tries(self, item: Hypothesis) -> list[str]:
        """Return what could be tried, where that fits the way the difference went.

        Nothing that a caution holds back, and nothing for a tag or food without a table of its own
        in the rule book.
        """
        if item.difference is None or item.evidence not in (Evidence.CLEAR, Evidence.HINT):
            return []
        if not all(self._own(name) for name in item.factors):
            return []
        if any(self.cautions.holds(rule.about) for rule in self.factors(item)):
            return []
        worse_with = (item.difference > 0) == (self.outcome(item).worse == "higher")
        fits = all((rule.helpful == "without") == worse_with for rule in self.factors(item))
        return [rule.try_ for rule in self.factors(item)] if fits else []

    def testable(self, item: Hypothesis) -> bool:
        """Say whether a test of it could be planned: one habit that may be asked for."""
        factors = self.factors(item)
        return bool(self.tries(item)) and len(factors) == 1 and factors[0].may_be_tested

    def _own(self, name: str) -> bool:
        known = self.rules.factors
        return ":" not in name or name in known or f"{self.unit}.{name}" in known

    def reasons(self, item: Hypothesis) -> list[str]:
        """Return why nothing is said, and the notes."""
        said = [reason_words(item.withheld)] if item.withheld else []
        said += doubt_sentences(item, self.rules, self.unit)
        return [clean(text) for text in (*said, *map(str, item.notes))]

    def facts(self) -> dict[str, Any]:
        """Return what every page of the client may name."""
        brief = self.brief
        return {
            "client": self.client,
            "calm": brief.calm,
            "span": self.span,
            "days": brief.check.days,
            "usable": brief.check.usable_days,
            "unit": brief.display_unit,
            "actions": self.actions,
            "too_few": brief.ranking.status == "too_few",
            "need": brief.ranking.need_units,
        }

    def by_clock(self) -> list[dict[str, str]]:
        """Return one row a part of the day; nothing without days."""
        return [self._part_of_day(item) for item in self.brief.times]

    def _part_of_day(self, item: TimeOfDay) -> dict[str, str]:
        level = self.amounts.level
        spread = item.spread or (None,) * 5
        low, quarter, middle, three, high = (level(value, "mg/dL") for value in spread)
        known = item.spread is not None
        return {
            "name": item.name.capitalize(),
            "hours": f"{item.first_hour:02d}:00 to {item.last_hour:02d}:00",
            "days": str(item.days),
            "middle": middle if known else "not known",
            "half": f"{quarter} to {three}" if known else "",
            "most": f"{low} to {high}" if known else "",
            "above": level(item.above, "min") if known else "",
        }
