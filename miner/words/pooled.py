"""What a pooled effect is told as, and what it suggests for a client whose month cannot tell."""

from __future__ import annotations

from dataclasses import replace

from miner.core.results import Evidence
from miner.core.results.caseload import ByClient, Caseload, PooledEffect
from miner.core.results.suggestions import Suggested, Suggestion
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.audience import Audience, said_to
from miner.words.labels import factor_phrase, outcome_label


def with_sentences(found: Caseload, rules: RuleBook) -> Caseload:
    """Return a caseload whose effects and suggestions are told in words."""
    show = Amounts(found.display_unit)
    pooled = tuple(_told(item, rules, show, found.unit) for item in found.pooled)
    suggested = tuple(
        suggestion_sentences(item, rules, found.display_unit) for item in found.suggested
    )
    return replace(found, pooled=pooled, suggested=suggested)


def suggestion_sentences(found: Suggested, rules: RuleBook, display_unit: str) -> Suggested:
    """Return what is suggested for one client with each question's sentence."""
    show, theirs = Amounts(display_unit), said_to(rules, Audience.PRACTITIONER)
    questions = tuple(
        replace(item, sentence=_across(item, theirs, show, item.by)) for item in found.questions
    )
    return replace(found, questions=questions)


def _told(item: PooledEffect, rules: RuleBook, show: Amounts, unit: str) -> PooledEffect:
    if item.difference is None or item.interval is None:
        return replace(item, sentence="We could not tell.")
    sentence = _across(item, rules, show, unit)
    rows = item.by_client
    if item.evidence is Evidence.CLEAR:
        rows = tuple(
            replace(row, suggestion=_suggestion(row, item, sentence, show))
            if row.evidence is Evidence.CANNOT_TELL
            else row
            for row in rows
        )
    theirs = said_to(rules, Audience.PRACTITIONER)
    return replace(item, sentence=_across(item, theirs, show, unit), by_client=rows)


def habit_phrase(item: PooledEffect | Suggestion, rules: RuleBook, unit: str) -> str:
    """Return a habit in words; of a dose what its difference is for."""
    rule = rules.factor(item.factor, unit)
    return factor_phrase(item.factor, rules, unit) if item.per is None else rule.each or ""


def _across(item: PooledEffect | Suggestion, rules: RuleBook, show: Amounts, unit: str) -> str:
    label = outcome_label(item.outcome.removeprefix(f"{unit}."), rules, unit)
    factor = habit_phrase(item, rules, unit)
    others = "other clients" if isinstance(item, Suggestion) else "clients"
    way = "higher" if (item.difference or 0.0) > 0 else "lower"
    size = f"{show.size(abs(item.difference or 0.0), item.unit)} {show.unit(item.unit)}"
    when = "after" if item.relation == "precedes" else "with"
    between = show.interval(item.interval, item.unit)
    return f"Across {item.clients} {others}, {label} was {size} {way} {when} {factor} ({between})."


def _suggestion(row: ByClient, item: PooledEffect, sentence: str, show: Amounts) -> str:
    if row.shrunken is None or row.interval is None:
        return f"{sentence} Yours is not yet known."
    likely = show.difference(row.shrunken, item.unit)
    between = show.interval(row.interval, item.unit)
    return (
        f"{sentence} Yours is not yet known. Seen together with the others it may be about "
        f"{likely} {show.unit(item.unit)} ({between})."
    )
