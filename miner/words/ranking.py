"""A ranking for people: one line first, cautions before patterns, one screen in all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from miner.core.messages import several
from miner.core.results import Evidence, Hypothesis, OutcomeSummary, Ranking
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts, chance, fixed
from miner.words.cautions import CautionBlocks
from miner.words.document import Parts, heading, paragraph, section, table
from miner.words.safe import clean
from miner.words.sentences import (
    evidence_words,
    factor_name,
    factor_phrase,
    no_more_than_chance,
    not_ranked,
    outcome_changed,
    outcome_label,
    spans_of,
)
from miner.words.teller import HypothesisTeller
from miner.words.wording import say


def inseparable(ranking: Ranking, rules: RuleBook) -> list[tuple[Hypothesis, ...]]:
    """Return the groups, the smallest p first, that would be at least a hint as one habit.

    Args:
        ranking: what ``rank`` found.
        rules: the rule books it was made with.
    """
    groups: list[list[Hypothesis]] = []
    level = rules.guardrails.hint_level
    worth = {name: one.smallest_worth_it for name, one in rules.outcomes_of(ranking.unit).items()}
    for item in sorted(ranking.not_told_apart(level, worth), key=lambda one: (one.p, one.factors)):
        joined = [group for group in groups if any(_alike(item, one) for one in group)]
        groups = [group for group in groups if group not in joined]
        groups.append([*(one for group in joined for one in group), item])
    found = [tuple(sorted(group, key=lambda one: (one.p, one.factors))) for group in groups]
    whole = [group for group in found if len(group) > 1]
    return sorted(whole, key=lambda group: (group[0].p, group[0].factors, group[0].outcome))


def group_words(group: Sequence[Hypothesis], rules: RuleBook, unit: str) -> tuple[str, str]:
    """Return which habits came together, and how seldom they differed.

    Args:
        group: of one outcome, at least two.
        rules: the rule books, for the words.
        unit: "day" or "meal".
    """
    phrases = [factor_phrase(item.factors[0], rules, unit) for item in group]
    names = " and ".join([", ".join(phrases[:-1]), phrases[-1]])
    label = outcome_label(group[0].outcome, rules, unit)
    apart = max(int(item.withheld.have or 0) for item in group if item.withheld)
    separate = say(rules, "list", "separate", unit=unit)
    said = (
        say(rules, "list", "came_together", days=several(apart, unit), separate=separate)
        if apart
        else say(rules, "list", "came_together_always", unit=unit, separate=separate)
    )
    return f"{names[:1].upper()}{names[1:]}, with {label}.", said


def _alike(one: Hypothesis, other: Hypothesis) -> bool:
    pairs = ((one, other), (other, one))
    return one.outcome == other.outcome and any(a.came_with == b.factors[0] for a, b in pairs)


_COLUMNS = (
    ">#",
    "habit\nID, lag",
    ">with\nwithout",
    ">supp\nconf",
    ">lift\nlev",
    "difference\ninterval",
    "p\np adj",
    "evidence\nunknown",
)


def detail_parts(ranking: Ranking, rules: RuleBook, amounts: Amounts) -> Parts:
    """Return, outcome by outcome, what was counted and computed for every question.

    Two lines a question: high of all units with the habit, support, lift, difference, p and the
    evidence; below them its identifier, high of all without it, confidence, leverage, interval,
    adjusted p and the units in which it is unknown.
    """
    legend = say(rules, "detail", "legend", units=f"{ranking.unit}s")
    parts: Parts = [paragraph(""), paragraph(legend)] if ranking.hypotheses else []
    for outcome in ranking.outcomes:
        rows = [
            _row(item, rules, ranking.unit, amounts)
            for item in ranking.hypotheses
            if item.outcome == outcome.name
        ]
        if rows:
            title = (
                f"{outcome_label(outcome.name, rules, ranking.unit)}, {amounts.unit(outcome.unit)}"
            )
            body: Parts = [paragraph(_reach(outcome, amounts), 2), *table(_COLUMNS, rows, indent=0)]
            parts += section(title, body)
    return parts


def _row(item: Hypothesis, rules: RuleBook, unit: str, amounts: Amounts) -> tuple[str, ...]:
    counts = item.counts
    names = " + ".join(factor_name(name, rules, unit) for name in item.factors)
    lags = " ".join(str(lag) for lag in item.lag_days)
    return (
        str(item.rank),
        f"{clean(names, 60)}\n{clean(item.id, 16)} {lags}",
        f"{counts.with_high} of {counts.with_}\n{counts.without_high} of {counts.without}",
        f"{fixed(counts.support, 2)}\n{fixed(counts.confidence, 2)}",
        f"{fixed(counts.lift, 2)}\n{fixed(counts.leverage, 2)}",
        f"{amounts.difference(item.difference, item.unit)}{_per(item)}\n"
        f"{amounts.interval(item.interval, item.unit)}",
        f"{chance(item.p)}\n{chance(item.p_adjusted)}",
        f"{str(item.evidence).replace('_', ' ')}\n{counts.unknown}",
    )


def _per(item: Hypothesis) -> str:
    per = item.per
    return "" if per is None else f" per {per.amount:g} {per.unit} {per.towards}"


def _reach(outcome: OutcomeSummary, amounts: Amounts) -> str:
    def say(value: float | None) -> str:
        return f"{amounts.size(value, outcome.unit)} {amounts.unit(outcome.unit)}"

    return (
        f"Worth acting on: {say(outcome.smallest_worth_it)}. "
        f"Found 80 times in 100: {say(outcome.detectable)}. "
        f"Usual variation: {say(outcome.ordinary_wobble)}."
    )


LUCK_MAKES_MOST = 0.5
"""From this adjusted p on, the luck of hints is told once for all of them."""


def ranking_parts(
    ranking: Ranking,
    rules: RuleBook,
    *,
    display_unit: str = "mg/dL",
    detail: bool = False,
    cautioned: bool = True,
) -> Parts:
    """Return a ranking as headings, paragraphs and tables.

    Args:
        ranking: what ``rank`` found.
        rules: the rule books it was made with, for the words.
        display_unit: ``mg/dL`` or ``mmol/L``.
        detail: add the numbers of every question.
        cautioned: begin with what comes before any pattern; else that is said elsewhere.
    """
    teller = _Teller(ranking, rules, Amounts(display_unit))
    cautions = CautionBlocks(ranking.cautions)
    parts = [*(cautions.first() if cautioned else []), *teller.opening(cautions)]
    parts += [*teller.fixed(), *teller.clear()]
    parts += teller.hints(detail=detail)
    parts += [*teller.inseparable(), *teller.rest(), *cautions.last()]
    if detail:
        parts += detail_parts(ranking, rules, teller.amounts)
    return parts


@dataclass(frozen=True, slots=True)
class _Teller:
    ranking: Ranking
    rules: RuleBook
    amounts: Amounts

    def opening(self, cautions: CautionBlocks) -> Parts:
        ranking = self.ranking
        first, last = ranking.first_day or ranking.from_day, ranking.last_day or ranking.to_day
        span = f", {first} to {last}" if first else ""
        usable = several(ranking.usable_units, f"usable {ranking.unit}")
        lines = [f"{ranking.client}{span}: {usable}, {ranking.left_out_units} left out."]
        if ranking.status != "too_few" and ranking.rankings_of_these_records > 1:
            lines.append(say(self.rules, "list", "ways", count=ranking.rankings_of_these_records))
        notes = [*map(str, ranking.notes), *not_ranked(ranking, self.rules)]
        return [
            *cautions.for_you_only,
            heading(ranking.verdict),
            paragraph(" ".join(lines)),
            *(paragraph(note) for note in notes),
            *cautions.beside(),
        ]

    @property
    def spans(self) -> str:
        """What records as long as this one are called."""
        return spans_of(self.ranking.days)

    def fixed(self) -> Parts:
        items = [item for item in self.ranking.hypotheses if item.family == "fixed"]
        return section("Your fixed questions", self._each(items, level=True))

    def clear(self) -> Parts:
        items = self._searched(Evidence.CLEAR)
        return section(evidence_words(Evidence.CLEAR, self.rules), self._each(items))

    def hints(self, *, detail: bool) -> Parts:
        found = self._searched(Evidence.HINT)
        shown = found[: self.rules.guardrails.hints_shown]
        if found and not detail and no_more_than_chance(self.ranking, len(found)):
            level = self.ranking.claim_level
            passed = [i for i in shown if i.p_adjusted is not None and i.p_adjusted <= level]
            line = self._folded([item for item in shown if item not in passed], len(found))
            body = [*self._each(passed), *line]
            return section(evidence_words(Evidence.HINT, self.rules), body)
        lucky = [item for item in shown if (item.p_adjusted or 0.0) >= LUCK_MAKES_MOST]
        body = self._each([item for item in shown if item not in lucky])
        body += self._each(lucky, luck=False)
        lines = self._shared_luck(len(lucky), len(shown)) + self._by_chance(len(shown), len(found))
        body += [paragraph(" ".join(lines), 2)] if found and lines else []
        return section(evidence_words(Evidence.HINT, self.rules), body)

    def _folded(self, items: list[Hypothesis], found: int) -> Parts:
        """Return in one line the hints that are no more than luck would give."""
        if not items:
            return []
        unit, chance = self.ranking.unit, self.ranking.hints_by_chance or 0.0
        hints = [
            " and ".join(factor_phrase(name, self.rules, unit) for name in item.factors)
            + f" with {outcome_changed(item, self.rules, unit)}"
            for item in items
        ]
        about = f"{int(chance + 0.5)}"
        text = say(self.rules, "hints", "folded", found=found, chance=about, hints="; ".join(hints))
        return [paragraph(text, 2)]

    def inseparable(self) -> Parts:
        body: Parts = []
        for group in inseparable(self.ranking, self.rules)[: self.rules.guardrails.hints_shown]:
            title, apart = group_words(group, self.rules, self.ranking.unit)
            teller = HypothesisTeller(self.rules, self.amounts, self.ranking.unit)
            body += [paragraph(title, 2), paragraph(teller.size(group[0]), 4)]
            body.append(paragraph(apart, 4))
        return section(say(self.rules, "list", "inseparable"), body)

    def rest(self) -> Parts:
        ranking = self.ranking
        if not ranking.hypotheses:
            return []
        asked = several(ranking.questions_asked, "question was", "questions were")
        lines = [
            say(
                self.rules,
                "list",
                "counted",
                asked=asked,
                cannot_tell=len(self._searched(Evidence.CANNOT_TELL)),
                little_sign=len(self._searched(Evidence.LITTLE_SIGN)),
            )
        ]
        if ranking.clear_by_chance:
            level = f"{100 * ranking.clear_by_chance:.2g}"
            fixed = ranking.second_look or ranking.clear_by_chance > ranking.claim_level
            key = "luck_with_fixed" if fixed else "luck"
            lines.append(say(self.rules, "list", key, level=level, spans=self.spans))
        together = [ranking.together.sentence] if ranking.together is not None else []
        return [paragraph(""), paragraph(" ".join([*lines, *self._reach(), *together]))]

    def _each(self, items: list[Hypothesis], *, level: bool = False, luck: bool = True) -> Parts:
        teller = HypothesisTeller(self.rules, self.amounts, self.ranking.unit)
        return [part for item in items for part in teller.parts(item, level=level, luck=luck)]

    def _searched(self, level: Evidence) -> list[Hypothesis]:
        return [
            item
            for item in self.ranking.hypotheses
            if item.evidence == level and item.family != "fixed"
        ]

    def _shared_luck(self, lucky: int, shown: int) -> list[str]:
        if not lucky:
            return []
        which = "These hints are" if lucky == shown else f"The last {lucky} hints are"
        if lucky == 1:
            which = "This hint is" if shown == 1 else "The last hint is"
        return [say(self.rules, "luck", "shared", which=which, spans=self.spans)]

    def _by_chance(self, shown: int, found: int) -> list[str]:
        chance = self.ranking.hints_by_chance
        if chance is None:
            return []
        few = no_more_than_chance(self.ranking, found)
        about = f"{int(chance + 0.5)}" if few else fixed(chance, 1)
        key = "by_chance" if few else "beyond"
        return [say(self.rules, "hints", key, shown=shown, found=found, chance=about)]

    def _reach(self) -> list[str]:
        primary = [o for o in self.ranking.outcomes if o.name == self.ranking.primary_outcome]
        if not primary or primary[0].detectable is None:
            return []
        item, show = primary[0], self.amounts
        size = f"{show.size(item.detectable, item.unit)} {show.unit(item.unit)}"
        label = outcome_label(item.name, self.rules, self.ranking.unit)
        return [say(self.rules, "list", "reach", size=size, label=label)]
