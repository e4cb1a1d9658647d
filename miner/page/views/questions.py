"""The questions, fixed before the records."""

from __future__ import annotations

from starlette.responses import Response

from miner import api
from miner.brief.text.ask import question_words
from miner.errors import MinerError
from miner.page.asked import Asked
from miner.page.render import page
from miner.page.views.client import name_of, read_or_fault
from miner.page.words import for_page
from miner.results import Shape
from miner.rulebook import RuleBook


def show(asked: Asked) -> Response:
    """Show what is fixed, and the form that fixes one more."""
    folder = asked.folder
    rules = api.load_rules(None, folder)
    entry, _ = read_or_fault(asked)
    fixed = [question_words(item, rules) for item in api.fixed_questions(folder)]
    return page(
        asked, "questions.html", client=name_of(entry, asked), fixed=fixed,
        factors=choices_of_factors(rules), outcomes=choices_of_outcomes(rules),
        records=entry is not None,
    )  # fmt: skip


def fix(asked: Asked) -> Response:
    """Write a question to the ledger."""
    factor, words = asked.text("factor"), asked.text("words")
    if factor.endswith(":*"):
        if not words:
            raise MinerError(
                "the words of the tag or food are missing",
                "the words as the client will log them, such as 'red wine'",
                "Write them beside the habit.",
            )
        factor = factor.removesuffix("*") + " ".join(words.split()).casefold()[:60]
    outcome, guess = asked.text("outcome"), asked.text("guess") or None
    shape = asked.text("shape") or None
    if (
        not factor or not outcome
        or guess not in (None, "up", "down") or shape not in (None, *Shape)
    ):  # fmt: skip
        raise MinerError("something is not chosen", "a habit and an outcome", "Choose both.")
    notes = api.fix_question(
        asked.folder, factor, outcome, guess=guess, fixed_on=asked.day("fixed_on"), shape=shape
    )
    said = ["It is written down.", *(for_page(note) for note in notes)]
    return asked.go(asked.at("questions"), *said)


def choices_of_factors(rules: RuleBook) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return the habits of the rule book, by unit: name and words."""
    groups = []
    for title, unit in (("By day", "day"), ("By meal", "meal")):
        named = [
            (name, "a tag of the client's own" if name == "tag:*"
             else "a food that comes back" if name == "food:*" else rule.phrase)
            for name, rule in rules.factors_of(unit).items()
            if not (unit == "meal" and name == "tag:*")
        ]  # fmt: skip
        groups.append((title, named))
    return groups


def choices_of_outcomes(rules: RuleBook) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return the outcomes of the rule book, by unit: name and words."""
    return [
        (title, [(rules.key_of(name, unit), rule.label)
                 for name, rule in [*rules.outcomes_of(unit).items(),
                                    *rules.asked_only(unit).items()]])
        for title, unit in (("By day", "day"), ("By meal", "meal"))
    ]  # fmt: skip
