"""One question for people: its answer, or that it was written down."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

from miner.core.errors import several
from miner.core.messages import Words
from miner.core.results import Hypothesis
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import Parts, heading, paragraph, section
from miner.words.hypothesis import HypothesisTeller
from miner.words.labels import evidence_of, factor_phrase, outcome_label
from miner.words.sentences import say


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
    return [heading(evidence_of(item, rules)), *teller.parts(item)]


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
    after = say(rules, "fixed", "judged", day=new.fixed_on)
    return [
        heading(f"{client}: written down. {question_words(new, rules)}"),
        paragraph(" ".join([after, *map(str, notes)])),
        *section(
            f"{several(len(others), 'question')} fixed before it",
            [paragraph(question_words(item, rules), 2) for item in others],
        ),
    ]


def question_words(item: Asked, rules: RuleBook) -> str:
    """Return a question as it was written down, with its date and guess."""
    unit = rules.unit_of(item.factor, item.outcome)
    phrase = factor_phrase(item.factor, rules, unit)
    label = outcome_label(item.outcome.removeprefix(f"{unit}."), rules, unit)
    said = [f"{phrase[:1].upper()}{phrase[1:]} and {label}."]
    said.append(say(rules, "fixed", "proven" if item.proven else "told", day=item.fixed_on))
    if item.guess in ("up", "down"):
        said.append(say(rules, "fixed", f"guess_{item.guess}"))
    if item.shape in ("cut", "dose"):
        said.append(say(rules, "fixed", f"shape_{item.shape}"))
    return " ".join(said)
