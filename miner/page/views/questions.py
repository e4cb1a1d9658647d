"""The questions, fixed before the records."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from miner import steps
from miner.core.messages import MinerError, Words, message
from miner.core.results import Shape
from miner.page.jobs import Progress
from miner.page.render import page
from miner.page.request import PageRequest
from miner.rulebook import RuleBook
from miner.words.ask import lead, luck, question_words
from miner.words.pages import ANY_FOOD, ANY_TAG, UNIT_TITLES
from miner.words.said import rules_at_door
from miner.words.sentences import evidence_words


def show(request: PageRequest) -> Response:
    """Show what is fixed, and the form that fixes one more."""
    folder = request.folder
    rules = rules_at_door(steps.load_rules(None, folder))
    entry, _ = request.read_or_fault()
    fixed = [question_words(item, rules) for item in steps.fixed_questions(folder)]
    return page(
        request,
        "questions.html",
        fixed=fixed,
        factors=choices_of_factors(rules),
        outcomes=choices_of_outcomes(rules),
        records=entry is not None,
        offered=_offered(request, rules),
    )


def _offered(request: PageRequest, rules: RuleBook) -> dict[str, Any] | None:
    """Return what other clients' records suggested in this run of the page, but what is fixed."""
    found = request.results.suggested
    if found is None:
        return None
    fixed = {(item.factor, item.outcome) for item in steps.fixed_questions(request.folder)}
    left = [one for one in found.questions if (one.factor, one.outcome) not in fixed]
    said = [(one, f"{one.sentence} {evidence_words(one.evidence, rules)}") for one in left]
    return {"lead": lead(found), "questions": said, "luck": luck(found, rules) if left else ""}


def suggest(request: PageRequest) -> Response:
    """Look at the other clients who agreed, and offer questions from their records."""

    def work(progress: Progress) -> None:
        found = steps.suggested_questions(request.folder, progress=progress)
        request.results.suggested = found

    said = message("page.job_suggest")
    return request.later("suggest", said, work, request.at("questions"))


def fix(request: PageRequest) -> Response:
    """Write a question to the ledger."""
    factor, words = request.text("factor"), request.text("words")
    if factor.endswith(":*"):
        if not words:
            raise MinerError("page.question_without_words")
        factor = factor.removesuffix("*") + " ".join(words.split()).casefold()[:60]
    outcome, guess = request.text("outcome"), request.text("guess") or None
    shape = request.text("shape") or None
    if (
        not factor
        or not outcome
        or guess not in (None, "up", "down")
        or shape not in (None, *Shape)
    ):
        raise MinerError("page.question_incomplete")
    notes = steps.fix_question(
        request.folder, factor, outcome, guess=guess, fixed_on=request.day("fixed_on"), shape=shape
    )
    said: list[Words] = [message("page.written"), *notes]
    return request.go(request.at("questions"), *said)


def choices_of_factors(rules: RuleBook) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return the habits of the rule book, by unit: name and words."""
    anything = {"tag:*": ANY_TAG, "food:*": ANY_FOOD}
    return [
        (
            title,
            [
                (name, anything.get(name, rule.phrase))
                for name, rule in rules.factors_of(unit).items()
                if (unit, name) != ("meal", "tag:*")
            ],
        )
        for unit, title in UNIT_TITLES.items()
    ]


def choices_of_outcomes(rules: RuleBook) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return the outcomes of the rule book, by unit: name and words."""
    return [
        (
            title,
            [
                (rules.key_of(name, unit), rule.label)
                for known in (rules.outcomes_of(unit), rules.asked_only(unit))
                for name, rule in known.items()
            ],
        )
        for unit, title in UNIT_TITLES.items()
    ]
