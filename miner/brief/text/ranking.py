"""A ranking for people: one line first, cautions before patterns, one screen in all."""

from __future__ import annotations

from dataclasses import dataclass

from miner.brief.text.amounts import Amounts, fixed
from miner.brief.text.cautions import Cautions
from miner.brief.text.detail import detail_parts
from miner.brief.text.layout import Parts, heading, paragraph, section
from miner.brief.text.sheet import sheet
from miner.brief.text.words import (
    evidence_words,
    factor_phrase,
    outcome_label,
    several,
    withheld_words,
)
from miner.results import Evidence, Hypothesis, Ranking
from miner.rulebook import RuleBook


def ranking_parts(
    ranking: Ranking, rules: RuleBook, *, display_unit: str = "mg/dL", detail: bool = False
) -> Parts:
    """Return a ranking as headings, paragraphs and tables.

    Args:
        ranking: what ``rank`` found.
        rules: the rule books it was made with, for the words.
        display_unit: ``mg/dL`` or ``mmol/L``.
        detail: add the numbers of every question.
    """
    teller = _Teller(ranking, rules, Amounts(display_unit))
    cautions = Cautions(ranking.cautions)
    parts = [*teller.opening(cautions), *teller.fixed(), *teller.clear(), *teller.hints()]
    parts += [*teller.rest(), *cautions.last()]
    if detail:
        parts += detail_parts(ranking, rules, teller.amounts)
    return parts


def ranking_csv(ranking: Ranking) -> str:
    """Return one line a hypothesis, numbers in full and in the units of the results."""
    rows = ranking.to_frame().to_dict("records")
    for row in rows:
        row["withheld"] = (row["withheld"] or {}).get("reason")
    header = [str(name) for name in rows[0]] if rows else ["id"]
    return sheet(header, ([row[name] for name in header] for row in rows))


@dataclass(frozen=True, slots=True)
class _Teller:
    ranking: Ranking
    rules: RuleBook
    amounts: Amounts

    def opening(self, cautions: Cautions) -> Parts:
        ranking = self.ranking
        span = f", {ranking.from_day} to {ranking.to_day}" if ranking.from_day else ""
        usable = several(ranking.usable_units, f"usable {ranking.unit}")
        lines = [f"{ranking.client}{span}: {usable}, {ranking.left_out_units} left out."]
        if ranking.rankings_of_these_records > 1:
            lines.append(
                f"This is ranking number {ranking.rankings_of_these_records} of these records."
            )
        notes = [*ranking.notes, *self._not_ranked()]
        return [
            *cautions.first(),
            heading(ranking.verdict),
            paragraph(" ".join(lines)),
            *(paragraph(note) for note in notes),
            *cautions.beside(),
        ]

    def fixed(self) -> Parts:
        body: Parts = []
        for item in self.ranking.hypotheses:
            if item.family == "fixed":
                body += self._hypothesis(item, evidence_words(item.evidence, self.rules))
        return section("Your fixed questions", body)

    def clear(self) -> Parts:
        body: Parts = []
        for item in self._searched(Evidence.CLEAR):
            body += self._hypothesis(item)
        return section(evidence_words(Evidence.CLEAR, self.rules), body)

    def hints(self) -> Parts:
        found = self._searched(Evidence.HINT)
        shown = found[: self.rules.guardrails.hints_shown]
        body: Parts = []
        for item in shown:
            body += self._hypothesis(item)
        if found and self.ranking.hints_by_chance is not None:
            by_chance = fixed(self.ranking.hints_by_chance, 1)
            body.append(
                paragraph(
                    f"Hints shown: {len(shown)} of {len(found)}. "
                    f"By chance alone there would be about {by_chance} such hints.",
                    2,
                )
            )
        return section(evidence_words(Evidence.HINT, self.rules), body)

    def rest(self) -> Parts:
        if not self.ranking.hypotheses:
            return []
        unknown, little = (
            f"{evidence_words(level, self.rules).rstrip('.')}: {len(self._searched(level))}."
            for level in (Evidence.CANNOT_TELL, Evidence.LITTLE_SIGN)
        )
        asked = several(self.ranking.questions_asked, "question was", "questions were")
        level = 100 * self.ranking.claim_level
        luck = (
            "In months where nothing is true, a list like this calls something clear enough to "
            f"test about {level:g} times in 100 ({2 * level:g} with fixed questions beside it)."
        )
        lines = [f"{unknown} {little} {asked} asked.", luck, *self._reach()]
        return [paragraph(""), paragraph(" ".join(lines))]

    def _searched(self, level: Evidence) -> list[Hypothesis]:
        return [
            item
            for item in self.ranking.hypotheses
            if item.evidence == level and item.family != "fixed"
        ]

    def _hypothesis(self, item: Hypothesis, evidence: str = "") -> Parts:
        lines = [item.sentence, self._difference(item)]
        may_be_told = item.evidence in (Evidence.CLEAR, Evidence.HINT)
        lines.append(f"{evidence} {item.luck_sentence if may_be_told else ''}".strip())
        lines.append(" ".join([*self._aside(item), *item.notes]))
        head, *others = [line for line in lines if line]
        return [paragraph(head, 2), *(paragraph(line, 4) for line in others)]

    def _difference(self, item: Hypothesis) -> str:
        label = outcome_label(item.outcome, self.rules)
        if item.difference is None:
            return f"{label}: no difference can be told; ID {item.id}"
        unit, show = item.unit, self.amounts
        text = f"{label} {show.difference(item.difference, unit)} {show.unit(unit)}"
        if item.interval is not None:
            text += f" ({show.interval(item.interval, unit)})"
        if item.expected_on_new_days is not None:
            text += f"; on new days {show.difference(item.expected_on_new_days, unit)}"
        return f"{text}; ID {item.id}"

    def _aside(self, item: Hypothesis) -> list[str]:
        said = [withheld_words(item.withheld)] if item.withheld else []
        if item.family == "fixed" and item.fixed_on:
            said.append(f"Fixed on {item.fixed_on}.")
        if item.days_to_settle and item.evidence == Evidence.CANNOT_TELL:
            said.append(f"About {several(item.days_to_settle, 'further day')} would settle it.")
        if item.travels_with:
            names = ", ".join(factor_phrase(name, self.rules) for name in item.travels_with)
            said.append(f"Often along with it: {names}.")
        if item.could_run_backwards:
            said.append("It could also run the other way round.")
        return said

    def _not_ranked(self) -> list[str]:
        return [
            f"Not ranked: {outcome_label(item.name, self.rules)}. {withheld_words(item.withheld)}"
            for item in self.ranking.outcomes
            if item.withheld
        ]

    def _reach(self) -> list[str]:
        primary = [o for o in self.ranking.outcomes if o.name == self.ranking.primary_outcome]
        if not primary or primary[0].detectable is None:
            return []
        item, show = primary[0], self.amounts
        return [
            f"A difference of {show.size(item.detectable, item.unit)} {show.unit(item.unit)} in "
            f"{outcome_label(item.name, self.rules)} would be found about 80 times in 100; "
            "smaller ones less often."
        ]
