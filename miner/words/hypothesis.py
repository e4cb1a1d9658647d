"""One hypothesis for people: its counts, its size, what may be said of it, and what is beside."""

from __future__ import annotations

from dataclasses import dataclass

from miner.core.messages import Message, several
from miner.core.results import Doubt, DoubtCode, Evidence, Hypothesis
from miner.core.results.caseload import PooledEffect
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import Parts, paragraph
from miner.words.labels import (
    Hidden,
    evidence_of,
    factor_phrase,
    named,
    nothing_hidden,
    outcome_label,
    withheld_words,
)
from miner.words.sentences import against_guess, each_more, ended_words, less_than_worth, say
from miner.words.wording import capital, day_name, listed

WEEKDAYS = {
    "mon": "Mondays",
    "tue": "Tuesdays",
    "wed": "Wednesdays",
    "thu": "Thursdays",
    "fri": "Fridays",
    "sat": "Saturdays",
    "sun": "Sundays",
}


def doubt_sentences(
    item: Hypothesis, rules: RuleBook, unit: str = "day", hidden: Hidden = nothing_hidden
) -> list[str]:
    """Return why a hypothesis that passes is a hint all the same, a text a reason.

    Args:
        item: what was found.
        rules: the rule books.
        unit: "day" or "meal".
        hidden: says whether a habit is not to be named.
    """
    found = []
    for code in dict.fromkeys(doubt.code for doubt in item.doubts):
        own = [doubt for doubt in item.doubts if doubt.code is code]
        most = rules.guardrails.shrink_when_one_unit_left_out
        found.append(
            say(
                rules,
                "doubt",
                str(code),
                units=f"{unit}s",
                some=capital(f"{unit}s"),
                other=_other(own, rules, unit, hidden),
                share=f"{1 - most:.0%}",
            )
        )
    return found


def pooled_doubt_sentences(item: PooledEffect, rules: RuleBook, unit: str) -> list[str]:
    """Return why a pooled difference that passes is a hint all the same, a text a reason.

    Args:
        item: what was found across clients.
        rules: the rule books.
        unit: "day" or "meal".
    """
    codes = dict.fromkeys(doubt.code for doubt in item.doubts)
    return [
        say(
            rules,
            "pooled_doubt",
            str(code),
            other=_other([doubt for doubt in item.doubts if doubt.code is code], rules, unit),
        )
        for code in codes
    ]


def _other(doubts: list[Doubt], rules: RuleBook, unit: str, hidden: Hidden = nothing_hidden) -> str:
    code = doubts[0].code
    names = [name for name in dict.fromkeys(doubt.other for doubt in doubts) if name]
    if code is DoubtCode.CONFOUNDER:
        return " or ".join(named(name, rules, unit, hidden) for name in names)
    if code is DoubtCode.WEEKDAY:
        return listed([WEEKDAYS[day] for day in " ".join(names).split()])
    if code is DoubtCode.ONE_DAY:
        return " or ".join(" ".join([day_name(name), *name[11:16].split()]) for name in names)
    return " ".join(names)


_TOLD = (Evidence.CLEAR, Evidence.HINT)


@dataclass(frozen=True, slots=True)
class HypothesisTeller:
    """Tells hypotheses of one unit ("day" or "meal") in the words of one rule book."""

    rules: RuleBook
    amounts: Amounts
    unit: str = "day"

    def parts(self, item: Hypothesis, *, level: bool = False, luck: bool = True) -> Parts:
        """Return one hypothesis as paragraphs.

        Args:
            item: what is told.
            level: add the words of its evidence, where no heading says them.
            luck: add how often luck alone would show as much, where something is claimed.
        """
        said = [evidence_of(item, self.rules)] if level else []
        said += [item.luck_sentence] if luck and item.evidence in _TOLD else []
        lines = [item.sentence, self.size(item), " ".join(said)]
        doubts = doubt_sentences(item, self.rules, self.unit)
        lines.append(" ".join([*self._aside(item), *doubts, *map(str, item.notes)]))
        head, *others = [line for line in lines if line]
        return [paragraph(head, 2), *(paragraph(line, 4) for line in others)]

    def size(self, item: Hypothesis) -> str:
        """Return the difference with its interval, what to expect on new days, and the ID."""
        label = outcome_label(item.outcome, self.rules, self.unit)
        if item.difference is None:
            return f"{label}: no difference can be told; ID {item.id}"
        text = f"{label} {self.difference(item)}"
        if item.expected_on_new_days is not None:
            expected = self.amounts.difference(item.expected_on_new_days, item.unit)
            text += f"; on new {self.unit}s {expected}"
        return f"{text}; ID {item.id}"

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
        said = [withheld_words(item.withheld)] if item.withheld else []
        said += self.fixed(item)
        if item.tried_before:
            ended = ended_words(item.tried_before, self.rules)
            said.append(say(self.rules, "follow", "tried_before", ended=ended))
        if item.evidence is Evidence.CANNOT_TELL:
            said += self._cannot_tell(item)
        said.append(less_than_worth(item, self.rules, self.amounts, self.unit))
        named: set[object] = {
            doubt.other for doubt in item.doubts if doubt.code is DoubtCode.CONFOUNDER
        }
        named |= {note.values.get("factor") for note in item.notes if isinstance(note, Message)}
        along = [name for name in item.travels_with if name not in named]
        if along:
            names = [factor_phrase(name, self.rules, self.unit) for name in along]
            said.append(f"Often along with it: {', '.join(names)}.")
        if item.could_run_backwards and item.evidence is Evidence.HINT:
            said.append(say(self.rules, "sentence", "backwards"))
        return [text for text in said if text]

    def fixed(self, item: Hypothesis) -> list[str]:
        """Return when a question was fixed, its guess, and whether it went the other way."""
        if not item.fixed_on:
            return []
        key = "told" if item.fixed_proven is False else "proven"
        said = [say(self.rules, "fixed", key, day=item.fixed_on)]
        if item.guess in ("up", "down"):
            said.append(say(self.rules, "fixed", f"guess_{item.guess}"))
            said.append(against_guess(item, self.rules))
        return [text for text in said if text]

    def _cannot_tell(self, item: Hypothesis) -> list[str]:
        said = []
        if item.unlikely_beyond is not None and item.withheld is None:
            unit, show = item.unit, self.amounts
            size = f"{show.level(item.unlikely_beyond, unit)} {show.unit(unit)}"
            each = each_more(item, self.rules, self.unit)
            size += f" for {each}" if each else ""
            said.append(say(self.rules, "cannot_tell", "unlikely", size=size))
        if item.days_to_settle:
            further = several(item.days_to_settle, "new day")
            said.append(say(self.rules, "cannot_tell", "settle", further=further))
        return said
