"""What is asked, for people: answers, fixed and suggested questions, and the error rate."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Protocol

from miner.core.messages import MinerError, Words, several
from miner.core.results import ErrorRate, Evidence, Hypothesis
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import Parts, command, heading, paragraph, section
from miner.words.door import Audience, said_to
from miner.words.pattern import CLAIMED, headline
from miner.words.safe import clean
from miner.words.sentences import (
    GUESS,
    comes_before,
    evidence_of,
    evidence_words,
    factor_phrase,
    factor_words,
    outcome_label,
)
from miner.words.teller import HypothesisTeller
from miner.words.wording import capital, dated, listed, say

if TYPE_CHECKING:
    from miner.core.results.caseload import Suggested, Suggestion


class Asked(Protocol):
    """A question as it was written down."""

    @property
    def factor(self) -> str:
        """Name of the factor."""
        ...

    @property
    def outcome(self) -> str:
        """Name of the outcome."""
        ...

    @property
    def guess(self) -> str | None:
        """``up``, ``down`` or None."""
        ...

    @property
    def shape(self) -> str | None:
        """``cut`` or ``dose`` where one was named."""
        ...

    @property
    def fixed_on(self) -> str:
        """ISO date."""
        ...

    @property
    def proven(self) -> bool:
        """Whether the ledger itself shows the date."""
        ...


def answer_parts(
    item: Hypothesis, rules: RuleBook, *, unit: str = "day", display_unit: str = "mg/dL"
) -> Parts:
    """Return the answer to one question as a heading and paragraphs.

    Args:
        item: the answer.
        rules: the rule books, for the words.
        unit: "day" or "meal".
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    teller = HypothesisTeller(rules, Amounts(display_unit), unit)
    head = headline(item, rules, unit, teller.amounts)
    level = f" {evidence_of(item, rules)}" if item.evidence in CLAIMED else ""
    return [heading(f"{head}{level}"), paragraph(teller.told(item))]


def fixed_parts(
    client: str, asked: Sequence[Asked], rules: RuleBook, notes: Iterable[Words]
) -> Parts:
    """Return what was written down last, and what is fixed so far.

    Args:
        client: the client's code.
        asked: the fixed questions in the order of the ledger, the new one last.
        rules: the rule books, for the words.
        notes: what the person who fixed it should know.
    """
    new, others = asked[-1], list(asked[:-1])
    values = {"n": len(asked), "client": client, "day": dated(new.fixed_on)}
    title = say(rules, "fixed", "written" if new.proven else "written_told", **values)
    said = [question_asked(new, rules)]
    if new.guess in GUESS:
        said.append(say(rules, "fixed", "guess_yes"))
    if new.shape in ("cut", "dose"):
        said.append(say(rules, "fixed", f"shape_{new.shape}"))
    after = say(rules, "fixed", "judged", day=dated(new.fixed_on))
    return [
        heading(title),
        paragraph(" ".join(said)),
        paragraph(" ".join([after, *map(str, notes)])),
        *section(
            "Written down before it",
            [paragraph(question_words(item, rules), 2) for item in others],
        ),
    ]


def question_words(item: Asked, rules: RuleBook) -> str:
    """Return a question as it was written down, and when."""
    said = [question_asked(item, rules)]
    said.append(say(rules, "fixed", "proven" if item.proven else "told", day=dated(item.fixed_on)))
    if item.shape in ("cut", "dose"):
        said.append(say(rules, "fixed", f"shape_{item.shape}"))
    return " ".join(said)


def question_asked(item: Asked, rules: RuleBook) -> str:
    """Return a question as it is asked: of a habit that no rule book has any more, its names."""
    unit = rules.unit_of(item.factor, item.outcome)
    outcome = item.outcome.removeprefix(f"{unit}.")
    label = outcome_label(outcome, rules, unit)
    try:
        before = comes_before(item.factor, outcome, rules, unit)
        changed = rules.outcome(outcome, unit).changed(1 if item.guess == "up" else -1)
    except MinerError:
        return f"{capital(factor_phrase(item.factor, rules, unit))} and {label}."
    changed = changed if item.guess in GUESS else f"a change in {label}"
    many = factor_words(item.factor, rules, unit)
    key = "asks_before" if before else "asks_with"
    return say(rules, "fixed", key, many=many, changed=changed)


def error_rate_parts(
    found: ErrorRate, rules: RuleBook, unit: str = "day", display_unit: str = "mg/dL"
) -> Parts:
    """Return an error rate as a heading and paragraphs.

    Args:
        found: the rates.
        rules: the rule books, for the words.
        unit: "day" or "meal".
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    parts: Parts = [heading(found.sentence)]
    if not found.worlds:
        return parts
    rate = f"{100 * found.claimed / found.worlds:.1f}"
    usable = several(found.usable_units, unit)
    told = [
        f"That is {rate} of 100, and {100 * found.nominal:g} are allowed.",
        *([] if found.finished else ["The work was stopped before it was finished."]),
        f"It rests on {usable} of {found.client}, with {found.draws} shuffled records for each "
        f"one (seed {found.seed}).",
    ]
    true = _found(found, rules, unit, display_unit)
    return [*parts, paragraph(" ".join(told)), *([paragraph(""), paragraph(true)] if true else [])]


def _found(found: ErrorRate, rules: RuleBook, unit: str, display_unit: str) -> str:
    """Return how often true differences of some sizes were found; empty without any."""
    show = Amounts(display_unit)
    rates = [
        f"{item.found} of {item.worlds} times at {show.size(item.shift, item.unit)} "
        f"{show.unit(item.unit)}"
        for item in found.found_rate_at
        if item.rate is not None
    ]
    if found.factor is None or found.outcome is None or not rates:
        return ""
    phrase = factor_phrase(found.factor, rules, unit)
    label = outcome_label(found.outcome, said_to(rules, Audience.PRACTITIONER), unit)
    return f"A true difference in {label} ({phrase}) was found {listed(rates)}."


TODAY_ON = "A question that is written down today is answered by this client's days after today."


def suggested_parts(found: Suggested, rules: RuleBook, folder: str) -> Parts:
    """Return what is suggested for one client, each question with its command.

    Args:
        found: what was suggested.
        rules: the rule books, for the words.
        folder: the client's folder as it was written, for the commands.
    """
    parts: Parts = [
        heading(f"{clean(found.client, 40)}: questions from other clients' records"),
        paragraph(lead(found)),
    ]
    for item in found.questions:
        said = f"{item.sentence} {evidence_words(item.evidence, rules)}"
        parts += [paragraph(""), paragraph(said, 2), command(command_of(item, folder))]
    if not found.questions:
        return parts
    closing = f"{luck(found, rules)} {TODAY_ON}".strip()
    return [*parts, paragraph(""), paragraph(closing)]


def luck(found: Suggested, rules: RuleBook) -> str:
    """Return how many hints chance alone would give; empty where there is none."""
    if all(item.evidence is not Evidence.HINT for item in found.questions):
        return ""
    most = max(1, round(rules.guardrails.hint_level * found.asked))
    return f"With nothing true, chance alone would give up to about {most} such hints."


def lead(found: Suggested) -> str:
    """Return whose records the questions rest on, or why there are none."""
    others = several(found.others, "other client")
    if found.others < found.fewest:
        return (
            f"{others} agreed to be pooled and could be used, and {found.fewest} are needed, so "
            "nothing can be suggested yet."
        )
    more = several(found.fixed_already, "other is", "others are")
    fixed = f" {more} written down already." if found.fixed_already else ""
    if not found.questions:
        return f"The records of {others} who agreed show nothing clear and no hint.{fixed}"
    return f"They come from the records of {others} who agreed, not from this client's.{fixed}"


def command_of(item: Suggestion, folder: str) -> str:
    """Return the command that fixes a question with its guess."""
    words = [
        "miner",
        "ask",
        folder,
        "--factor",
        item.factor,
        "--outcome",
        item.outcome,
        "--fix",
        "--guess",
        item.guess,
    ]
    return shlex.join(words)
