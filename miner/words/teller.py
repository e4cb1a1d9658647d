"""What may be told of a client's results, and in which words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from miner.core.messages import several
from miner.core.results import Evidence, Hypothesis, OutcomeSummary
from miner.core.results.briefing import Briefing
from miner.rulebook import FactorRule, OutcomeRule, RuleBook
from miner.words.amounts import Amounts
from miner.words.hypothesis import HypothesisTeller, doubt_sentences
from miner.words.labels import (
    Hidden,
    factor_phrase,
    named,
    note_words,
    nothing_hidden,
    outcome_label,
    reason_words,
)
from miner.words.safe import clean
from miner.words.sentences import client_always, each_more, ended_words, say, sentence, verdict
from miner.words.wording import capital, full_date, listed


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
        """Return what a client is always told."""
        return client_always(self.rules, self.days)

    def level(self, evidence: Evidence) -> list[Hypothesis]:
        """Return what the search found of one level."""
        return [
            item
            for item in self.brief.ranking.hypotheses
            if item.evidence is evidence and item.family != "fixed"
        ]

    def chosen(self) -> list[Hypothesis]:
        """Return what was chosen, in the order of the ranking."""
        return [item for item in self.brief.ranking.hypotheses if item.id in self.include]

    def questions(self) -> list[Hypothesis]:
        """Return the client's own fixed questions; one about food only if it was chosen."""
        return [
            item
            for item in self.brief.ranking.hypotheses
            if item.family == "fixed" and (item.id in self.include or not self.about_food(item))
        ]

    def about_food(self, item: Hypothesis) -> bool:
        """Say whether any factor is about food."""
        return any(factor.food for factor in self.factors(item))

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

    def counted(self, item: Hypothesis) -> str:
        """Return its counts in a few words."""
        counts, factors = item.counts, self.factors(item)
        known = {
            "with_": counts.with_,
            "with_high": counts.with_high,
            "without": counts.without,
            "without_high": counts.without_high,
            "one": self.outcome(item).units_one,
            "phrases": capital(self.phrases(item)),
        }
        key = item.relation if len(factors) == 1 else "together"
        return say(
            self.rules,
            "home",
            key,
            with_words=clean(factors[0].with_many, 60),
            without_words=clean(factors[0].without_many, 60),
            **known,
        )

    def calmly(self, item: Hypothesis) -> str:
        """Return what may be said of it without any number."""
        way = "lower" if (item.difference or 0.0) < 0 else "higher"
        told = say(
            self.rules,
            "calm",
            str(item.evidence),
            phrases=self.phrases(item),
            label=self.label(item),
            way=way,
        )
        return capital(told)

    def travels(self, item: Hypothesis, hidden: Hidden = nothing_hidden) -> list[str]:
        """Return the words of what often came along with it."""
        return [named(name, self.rules, self.unit, hidden) for name in item.travels_with]

    def hides(self, name: str) -> bool:
        """Say whether a habit is not named to a client: about food, and not chosen."""
        told = {factor for item in self.chosen() for factor in item.factors}
        return name not in told and bool(name) and self.rules.factor(name, self.unit).food

    def ended(self, item: Hypothesis) -> str:
        """Return how an earlier test of it ended, or nothing where there was none."""
        return ended_words(item.tried_before, self.rules) if item.tried_before else ""

    def tries(self, item: Hypothesis) -> list[str]:
        """Return what could be tried, where that fits the way the difference went.

        Nothing where a caution comes first, and nothing for a tag or food without a table of its
        own in the rule book.
        """
        if item.difference is None or item.evidence not in (Evidence.CLEAR, Evidence.HINT):
            return []
        if self.brief.actions or not all(self._own(name) for name in item.factors):
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

    def reasons(self, item: Hypothesis, hidden: Hidden = nothing_hidden) -> list[str]:
        """Return why nothing is said, and the notes.

        Args:
            item: a hypothesis.
            hidden: says whether a habit is not to be named.
        """
        said = [reason_words(item.withheld, hidden)] if item.withheld else []
        said += doubt_sentences(item, self.rules, self.unit, hidden)
        return [clean(text) for text in (*said, *(note_words(n, hidden) for n in item.notes))]
