"""A ranking for people: cautions, what is clear, hints a line each, the rest in a paragraph."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from miner.core.messages import Message, Words, several
from miner.core.results import Evidence, Hypothesis, OutcomeSummary, Ranking
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts, chance
from miner.words.cautions import CautionBlocks
from miner.words.document import BLANK, Parts, command, heading, item, paragraph, section, table
from miner.words.door import door_now
from miner.words.pattern import counted, counted_briefly, habits_of, inseparable, size_words
from miner.words.safe import clean
from miner.words.said import rules_at_door
from miner.words.sentences import (
    each_more,
    factor_name,
    factor_words,
    no_more_than_chance,
    not_ranked,
    outcome_changed,
    outcome_label,
)
from miner.words.teller import HypothesisTeller, doubt_sentences
from miner.words.wording import capital, listed, say, span_words

_DOSES = "hypotheses.medicine"
_COLUMNS = ("ID", "habit", ">with", ">without", "difference", ">p adj", "")
_LEVELS = {
    Evidence.CLEAR: "clear",
    Evidence.HINT: "hint",
    Evidence.LITTLE_SIGN: "little",
    Evidence.CANNOT_TELL: "?",
}


def detail_parts(ranking: Ranking, rules: RuleBook, amounts: Amounts) -> Parts:
    """Return the exact figures of what is numbered, then a line a pattern, measure by measure."""
    teller = HypothesisTeller(rules, amounts, ranking.unit)
    numbered = ranking.numbered(rules.guardrails.hints_shown)
    exact: Parts = [
        item(str(number), " ".join([teller.exact(one), *_asides(one, teller)]))
        for number, one in enumerate(numbered, 1)
    ]
    parts = section(say(rules, "detail", "title"), exact)
    if ranking.hypotheses:
        parts += [BLANK, paragraph(say(rules, "detail", "legend", units=f"{ranking.unit}s"))]
    for outcome in ranking.outcomes:
        rows = [
            _row(one, rules, ranking.unit, amounts)
            for one in ranking.hypotheses
            if one.outcome == outcome.name
        ]
        if rows:
            label = outcome_label(outcome.name, rules, ranking.unit)
            title = capital(f"{label}, {amounts.unit(outcome.unit)}")
            body: Parts = [paragraph(_reach(outcome, rules, amounts), 2)]
            parts += section(title, [*body, *table(_COLUMNS, rows, indent=0)])
    return parts


def _asides(one: Hypothesis, teller: HypothesisTeller) -> list[str]:
    """Return of a hint what its one line leaves out."""
    return [teller.told(one)] if one.evidence is Evidence.HINT else []


def _row(one: Hypothesis, rules: RuleBook, unit: str, amounts: Amounts) -> tuple[str, ...]:
    counts, per = one.counts, one.per
    names = " + ".join(factor_name(name, rules, unit) for name in one.factors)
    each = "" if per is None else f" per {per.amount:g} {per.unit} {per.towards}"
    return (
        clean(one.id, 16),
        clean(names, 60),
        f"{counts.with_high}/{counts.with_}",
        f"{counts.without_high}/{counts.without}",
        f"{amounts.difference(one.difference, one.unit)}{each} "
        f"({amounts.interval(one.interval, one.unit)})",
        chance(one.p_adjusted),
        _LEVELS[one.evidence],
    )


def _reach(outcome: OutcomeSummary, rules: RuleBook, amounts: Amounts) -> str:
    def size(value: float | None) -> str:
        return f"{amounts.size(value, outcome.unit)} {amounts.unit(outcome.unit)}"

    return say(
        rules,
        "detail",
        "reach",
        worth=size(outcome.smallest_worth_it),
        detectable=size(outcome.detectable),
        usual=size(outcome.ordinary_wobble),
    )


def ranking_parts(
    ranking: Ranking,
    rules: RuleBook,
    *,
    display_unit: str = "mg/dL",
    detail: bool = False,
    cautioned: bool = True,
    folder: str = "",
) -> Parts:
    """Return a ranking as headings, paragraphs and tables.

    Args:
        ranking: what ``rank`` found.
        rules: the rule books it was made with, for the words.
        display_unit: ``mg/dL`` or ``mmol/L``.
        detail: add the numbers of every pattern, and the cautions at length.
        cautioned: begin with what comes before any pattern; else that is said elsewhere.
        folder: the client's folder as it was written, for commands; else the client's code.
    """
    rules = rules_at_door(rules)
    teller = _Teller(ranking, rules, Amounts(display_unit), folder or clean(ranking.client, 40))
    cautions = CautionBlocks(ranking.cautions)
    first = (
        [BLANK, *cautions.first()[:-1]] if cautioned and (cautions.ahead or cautions.told) else []
    )
    found = [*teller.fixed(), *teller.clear()]
    rest, hints = teller.rest(), teller.hints()
    parts = [*teller.opening(cautions), *first, *teller.verdict(cautions), *found]
    parts += teller.inseparable()
    parts += [*rest, *hints] if teller.nothing_stood_out else [*hints, *rest]
    parts += teller.closing(found=bool(found or hints))
    if detail:
        parts += [*detail_parts(ranking, rules, teller.amounts), *cautions.last()]
    return parts


def _names_another(note: Words) -> bool:
    """Say whether a note names what else may be behind a pattern."""
    return not isinstance(note, Message) or "factor" in note.values


def _of_doses(note: Words) -> bool:
    """Say whether a note is that doses may be behind a pattern."""
    return isinstance(note, Message) and note.code == _DOSES


def _said_above(note: Words) -> bool:
    """Say whether the opening of a ranking says it of all patterns."""
    return isinstance(note, Message) and note.code == "hypotheses.second_look"


@dataclass(frozen=True, slots=True)
class _Teller:
    ranking: Ranking
    rules: RuleBook
    amounts: Amounts
    folder: str

    @property
    def units(self) -> str:
        """``days`` or ``meals``."""
        return f"{self.ranking.unit}s"

    @property
    def of_one(self) -> HypothesisTeller:
        """What words one pattern."""
        return HypothesisTeller(self.rules, self.amounts, self.ranking.unit)

    def opening(self, cautions: CautionBlocks) -> Parts:
        """Return whose records these are, what of them could be used, and what is still to ask."""
        ranking = self.ranking
        first, last = ranking.first_day or ranking.from_day, ranking.last_day or ranking.to_day
        told = ranking.usable_units + ranking.left_out_units
        title = say(
            self.rules,
            "rank",
            "title" if first and last else "title_without_days",
            client=clean(ranking.client, 60),
            span=span_words(first, last) if first and last else "",
            usable=ranking.usable_units,
            units=several(told, ranking.unit),
        )
        lines = []
        ways = 1 if ranking.second_look else ranking.rankings_of_these_records
        if ranking.status != "too_few" and ways > 1:
            lines.append(say(self.rules, "list", "ways", count=ways))
        notes = [*map(str, ranking.notes), *not_ranked(ranking, self.rules)]
        return [
            paragraph(title),
            *cautions.beside(),
            *(paragraph(note) for note in [*lines, *notes]),
        ]

    def verdict(self, cautions: CautionBlocks) -> Parts:
        """Return what the records say, in one line."""
        group = self._groups[:1] if not self._claims else []
        said = self._which(group[0]) if group else self.ranking.verdict
        if self.ranking.status == "too_few" and door_now() == "":
            waiting = say(self.rules, "rank", "while_waiting", folder=self.folder)
            return [BLANK, heading(said), paragraph(waiting)]
        return [BLANK, *cautions.for_you_only, heading(said)]

    @property
    def _claims(self) -> list[Hypothesis]:
        return [one for one in self.ranking.hypotheses if one.evidence is Evidence.CLEAR]

    @property
    def _groups(self) -> list[tuple[Hypothesis, ...]]:
        return inseparable(self.ranking, self.rules)[: self.rules.guardrails.hints_shown]

    @property
    def _numbers(self) -> dict[int, str]:
        """The number of each pattern that has one, by its place in memory."""
        shown = self.ranking.numbered(self.rules.guardrails.hints_shown)
        return {id(one): str(number) for number, one in enumerate(shown, 1)}

    @property
    def nothing_stood_out(self) -> bool:
        """Whether nothing is numbered but hints that luck alone would give."""
        hints = len(self._searched(Evidence.HINT))
        others = len(self._numbers) > min(hints, self.rules.guardrails.hints_shown)
        return not others and no_more_than_chance(self.ranking, hints)

    def fixed(self) -> Parts:
        """Return the answers to questions that were written down."""
        return self._each([one for one in self.ranking.hypotheses if one.family == "fixed"])

    def clear(self) -> Parts:
        """Return what the search found clear."""
        return self._each(self._searched(Evidence.CLEAR))

    def _each(self, found: list[Hypothesis]) -> Parts:
        numbers = self._numbers
        return [
            part for one in found for part in self.of_one.parts(one, lead=numbers.get(id(one), ""))
        ]

    def hints(self) -> Parts:
        """Return the hints, a line each, and below each what it cannot be told from."""
        found = self._searched(Evidence.HINT)
        shown = found[: self.rules.guardrails.hints_shown]
        if not shown:
            return []
        by_chance, numbers = self.ranking.hints_by_chance, self._numbers
        few = " " if len(shown) == len(found) else ""
        title = say(
            self.rules,
            "hints",
            "plain" if by_chance is None else self._kind(len(found)),
            found=len(found),
            chance=int((by_chance or 0.0) + 0.5),
            shown="" if few else say(self.rules, "hints", "shown", shown=len(shown)),
        )
        body: Parts = []
        for one in shown:
            doses = [str(note) for note in one.notes if _of_doses(note)]
            body.append(item(numbers.get(id(one), ""), " ".join([self._in_a_line(one), *doses])))
            below = " ".join(self._below(one))
            body += [item("", below)] if below else []
        return [BLANK, heading(title), *body]

    def _kind(self, found: int) -> str:
        return "by_luck" if no_more_than_chance(self.ranking, found) else "beyond"

    def _in_a_line(self, one: Hypothesis) -> str:
        unit = self.ranking.unit
        relation = "same_day" if unit == "meal" else one.relation
        each = each_more(one, self.rules, unit)
        return say(
            self.rules,
            "hints",
            f"dose_{relation}" if each else relation,
            each=capital(each),
            habits=capital(habits_of(one, self.rules, unit)),
            changed=outcome_changed(one, self.rules, unit),
            size=self.amounts.about(one.difference or 0.0, one.unit),
            counts=counted_briefly(one, self.rules, unit, self.amounts),
        )

    def _below(self, one: Hypothesis) -> list[str]:
        """Return what a hint cannot be told from; of one that passed, why it is no more too."""
        passed = one.p_adjusted is not None and one.p_adjusted <= self.ranking.claim_level
        doubts = doubt_sentences(one, self.rules, self.ranking.unit) if passed else []
        notes = [
            str(note)
            for note in one.notes
            if not (_said_above(note) or _of_doses(note)) and (passed or _names_another(note))
        ]
        luck = [one.luck_sentence] if passed and not self.ranking.second_look else []
        return [*notes, *luck, *doubts]

    def _which(self, group: Sequence[Hypothesis]) -> str:
        changed = outcome_changed(group[0], self.rules, self.ranking.unit)
        meal = self.ranking.unit == "meal"
        relation = "same_day" if meal else group[0].relation
        return say(self.rules, "rank", f"which_{relation}", changed=changed)

    def inseparable(self) -> Parts:
        """Return the groups of habits that came together too often to tell them apart."""
        parts: Parts = []
        for place, group in enumerate(self._groups):
            if place or self._claims:
                parts += [BLANK, heading(self._which(group))]
            parts.append(paragraph(self._together(group)))
        return parts

    def _together(self, group: Sequence[Hypothesis]) -> str:
        """Return which habits came together, how strong it is, and what would part them."""
        unit, rules, first = self.ranking.unit, self.rules, group[0]
        habits = capital(listed([factor_words(one.factors[0], rules, unit) for one in group]))
        held = [one.withheld for one in group if one.withheld]
        apart = max((int(one.have or 0) for one in held), default=0)
        more = max((int((one.need or 0) - (one.have or 0)) for one in held), default=0)
        key = "separate" if more else "separate_some"
        said = [
            say(rules, "list", "came_together", habits=habits, units=self.units),
            counted(first, rules, unit, self.amounts),
            size_words(first, rules, unit, self.amounts),
            say(rules, "list", "apart", days=several(apart, unit))
            if apart
            else say(rules, "list", "apart_always", units=self.units),
            say(rules, "list", key, more=several(more, unit), units=self.units),
        ]
        return " ".join(said)

    def rest(self) -> Parts:
        """Return in one paragraph how much was checked, and what such a search can find."""
        ranking = self.ranking
        if not ranking.hypotheses:
            return []
        asked = several(ranking.questions_asked, "pattern was", "patterns were")
        singles = [one for one in ranking.hypotheses if len(one.factors) == 1]
        count = {
            level: sum(one.evidence is level and one.family != "fixed" for one in singles)
            for level in Evidence
        }
        lines = [
            say(
                self.rules,
                "list",
                "checked",
                asked=asked,
                cannot_tell=count[Evidence.CANNOT_TELL],
                little_sign=count[Evidence.LITTLE_SIGN],
            )
        ]
        if ranking.clear_by_chance:
            level = f"{100 * ranking.clear_by_chance:.2g}"
            fixed = ranking.second_look or ranking.clear_by_chance > ranking.claim_level
            lines.append(
                say(self.rules, "list", "luck_with_fixed" if fixed else "luck", level=level)
            )
        together = [ranking.together.sentence] if ranking.together is not None else []
        return [BLANK, paragraph(" ".join([*lines, *self._reach(), *together]))]

    def _searched(self, level: Evidence) -> list[Hypothesis]:
        return [
            one
            for one in self.ranking.hypotheses
            if one.evidence == level and one.family != "fixed"
        ]

    def _reach(self) -> list[str]:
        primary = [o for o in self.ranking.outcomes if o.name == self.ranking.primary_outcome]
        if not primary or primary[0].detectable is None:
            return []
        size = self.amounts.about(primary[0].detectable, primary[0].unit)
        label = outcome_label(primary[0].name, self.rules, self.ranking.unit)
        key = "reach_meal" if self.ranking.unit == "meal" else "reach"
        return [say(self.rules, "list", key, size=size, label=label)]

    def closing(self, *, found: bool) -> Parts:
        """Return what high is, what patterns do not show, and what to do next."""
        if self.ranking.status == "too_few":
            return []
        said = [say(self.rules, "list", "high", units=self.units)] if found else []
        page = door_now() == "page"
        said.append(say(self.rules, "list", "closing_page" if page else "closing"))
        parts: Parts = [paragraph(" ".join(said))]
        numbers = self._numbers
        if page:
            return parts
        if not self._claims:
            parts = [BLANK, paragraph(say(self.rules, "rank", "next")), *parts]
        if numbers:
            behind = say(
                self.rules, "list", "behind", units=self.units, folder=self.folder, number=1
            )
            parts.append(command(behind, 0))
        return parts
