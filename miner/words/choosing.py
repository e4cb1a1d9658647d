"""What may be chosen of a pattern in a session, in words, and what was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from shlex import quote

from miner.core.results.follow import LEAVE, TEST, ChoicesMade, ChosenIdea, Offer
from miner.rulebook import RuleBook
from miner.words.document import Parts, command, heading, paragraph
from miner.words.said import book
from miner.words.sentences import factor_phrase, outcome_label
from miner.words.wording import capital, full_date

_NAMES = book("names")
CHOICES: dict[str, tuple[str, str, str]] = {
    choice: tuple(words) for choice, words in _NAMES["choices"].items()
}
"""Name, meaning and what comes of each choice."""
WAITS: dict[str, str] = _NAMES["choice_waits"]
AT_MOST = "Keep at most three open at one time. What you leave does not count."


def options(offer: Offer) -> list[dict[str, str]]:
    """Return what may be chosen of a pattern: each with its words and its short code."""
    told = ((choice, code, CHOICES[choice]) for choice, code in offer.codes.items())
    return [
        {"choice": choice, "code": code, "name": name, "meaning": meaning, "then": then}
        for choice, code, (name, meaning, then) in told
    ]


def chosen_lines(chosen: Mapping[str, ChosenIdea]) -> dict[str, str]:
    """Return what was chosen of each pattern, and when, by its ID."""
    return {
        id_: f"Chosen on {full_date(item.on)}: {CHOICES[item.choice][0]}."
        for id_, item in chosen.items()
    }


def chosen_title(item: ChosenIdea, rules: RuleBook) -> str:
    """Return the pattern of a choice: its habits, and the glucose measure."""
    names = " and ".join(factor_phrase(name, rules, item.unit_of) for name in item.factors)
    return f"{capital(names)}, {outcome_label(item.outcome, rules, item.unit_of)}"


def chosen_parts(made: ChoicesMade, rules: RuleBook, client: Path) -> Parts:
    """Return what was chosen, what comes of each, and the next step of a test.

    Args:
        made: what was written.
        rules: the rule books, for the words.
        client: the client's folder, as it was typed.
    """
    if not made.made:
        return [heading("This was chosen already, so nothing new is written.")]
    folder = quote(str(client))
    parts: Parts = [heading("Saved, as chosen:")]
    for item in made.made:
        name, _, then = CHOICES[item.choice]
        parts.append(paragraph(f"{chosen_title(item, rules)} ({item.id}). {name}. {then}", 2))
        if item.choice == TEST:
            parts.append(command(f"miner plan {folder} {item.id} --start DATE --preview", 4))
    open_ = sum(item.choice != LEAVE for item in made.chosen.values())
    parts += [paragraph(f"Open now: {open_}. {AT_MOST} To see all:")]
    return [*parts, command(f"miner follow {folder}")]


@dataclass(frozen=True, slots=True)
class ChoiceForm:
    """Where a session page that is served sends what is chosen on it.

    Attributes:
        action: the address.
        key: what every form of the page carries.
        chosen: what stands now, by ID.
        wished: what was chosen and is not written yet: ID -> choice.
        plans: where a test that was chosen is planned: ID -> address.
        start: ISO date a test is proposed to begin.
    """

    action: str
    key: str
    chosen: Mapping[str, ChosenIdea]
    wished: Mapping[str, str]
    plans: Mapping[str, str]
    start: str
