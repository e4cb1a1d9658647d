"""What a pooled effect is told as, and what it suggests for a client whose month cannot tell."""

from __future__ import annotations

from dataclasses import replace

from miner.brief.said_of import of_client
from miner.brief.text.amounts import Amounts
from miner.brief.text.words import factor_phrase, outcome_label
from miner.results import Evidence
from miner.results.caseload import ByClient, Caseload, PooledEffect
from miner.rulebook import RuleBook


def with_sentences(found: Caseload, rules: RuleBook) -> Caseload:
    """Return a caseload whose effects and suggestions are told in words."""
    show = Amounts(found.display_unit)
    pooled = tuple(_told(item, rules, show, found.unit) for item in found.pooled)
    return replace(found, pooled=pooled)


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
    return replace(item, sentence=of_client(sentence), by_client=rows)


def _across(item: PooledEffect, rules: RuleBook, show: Amounts, unit: str) -> str:
    label = outcome_label(item.outcome, rules, unit)
    factor = factor_phrase(item.factor, rules, unit)
    way = "higher" if (item.difference or 0.0) > 0 else "lower"
    size = f"{show.size(abs(item.difference or 0.0), item.unit)} {show.unit(item.unit)}"
    when = "after" if item.relation == "precedes" else "with"
    between = show.interval(item.interval, item.unit)
    return f"Across {item.clients} clients, {label} was {size} {way} {when} {factor} ({between})."


def _suggestion(row: ByClient, item: PooledEffect, sentence: str, show: Amounts) -> str:
    if row.shrunken is None or row.interval is None:
        return f"{sentence} Yours is not yet known."
    likely = show.difference(row.shrunken, item.unit)
    between = show.interval(row.interval, item.unit)
    return (
        f"{sentence} Yours is not yet known. Seen together with the others it may be about "
        f"{likely} {show.unit(item.unit)} ({between})."
    )
