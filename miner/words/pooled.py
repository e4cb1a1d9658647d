"""What a pooled effect is told as, and what it suggests for a client whose month cannot tell."""

from __future__ import annotations

from miner.core.results.caseload import ByClient, PooledEffect
from miner.core.results.suggestions import Suggestion
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.audience import Audience, said_to
from miner.words.labels import factor_phrase, outcome_label


def across(item: PooledEffect | Suggestion, rules: RuleBook, unit: str, display_unit: str) -> str:
    """Return a difference across clients, or across the others of one."""
    theirs = said_to(rules, Audience.PRACTITIONER)
    return _across(item, theirs, Amounts(display_unit), unit)


def suggestion(
    row: ByClient, item: PooledEffect, rules: RuleBook, unit: str, display_unit: str
) -> str:
    """Return what the others suggest where a client's own records cannot tell."""
    show = Amounts(display_unit)
    sentence = _across(item, rules, show, unit)
    if row.shrunken is None or row.interval is None:
        return f"{sentence} Yours is not yet known."
    likely = show.difference(row.shrunken, item.unit)
    between = show.interval(row.interval, item.unit)
    return (
        f"{sentence} Yours is not yet known. Seen together with the others it may be about "
        f"{likely} {show.unit(item.unit)} ({between})."
    )


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
