"""Questions for one client from the records of the others, with the commands that fix them."""

from __future__ import annotations

import shlex

from miner.core.errors import several
from miner.core.results import Evidence
from miner.core.results.suggestions import Suggested, Suggestion
from miner.rulebook import RuleBook
from miner.words.document import Parts, command, heading, paragraph
from miner.words.labels import evidence_words, outcome_label
from miner.words.pooled import habit_phrase
from miner.words.safe import clean

TODAY_ON = "Fixed today, a question is judged on this client's days after today."
GUESS = {"up": "higher", "down": "lower"}


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
        parts += [
            paragraph(""),
            paragraph(said, 2),
            command(command_of(item, folder)),
        ]
    if not found.questions:
        return parts
    closing = f"{luck(found, rules)} {TODAY_ON}".strip()
    return [*parts, paragraph(""), paragraph(closing)]


def luck(found: Suggested, rules: RuleBook) -> str:
    """Return how many hints chance alone would give; empty where there is none."""
    if all(item.evidence is not Evidence.HINT for item in found.questions):
        return ""
    most = max(1, round(rules.guardrails.hint_level * found.asked))
    return f"Where nothing is true, chance alone would give up to about {most} such hints."


def lead(found: Suggested) -> str:
    """Return whose records the questions rest on, or why there are none."""
    others = several(found.others, "other client")
    if found.others < found.fewest:
        return (
            f"{others} agreed to be pooled and could be used; {found.fewest} are needed. "
            "Nothing can be suggested yet."
        )
    fixed = f" {several(found.fixed_already, 'more')} fixed already." if found.fixed_already else ""
    if not found.questions:
        return f"Across {others} who agreed, nothing is clear or a hint. Nothing suggested.{fixed}"
    return f"They rest on the records of {others} who agreed, and on no day of this client.{fixed}"


def question_of(item: Suggestion, rules: RuleBook) -> str:
    """Return a question in a few words: the habit, the outcome, the guess."""
    label = outcome_label(item.outcome.removeprefix(f"{item.by}."), rules, item.by)
    return f"{habit_phrase(item, rules, item.by)}: {label} {GUESS[item.guess]}"


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
