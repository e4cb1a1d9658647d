"""A hypothesis as it was when it was kept: definitions that later rule books do not change."""

from __future__ import annotations

from dataclasses import replace
from math import inf, isfinite, nextafter
from typing import Any

import numpy as np
from pydantic import ValidationError

from miner.core.errors import MinerError
from miner.core.results import Hypothesis, OutcomeSummary, plain
from miner.ledger import NAME, FrozenIdea
from miner.records.client import Client
from miner.records.synonyms import standing_for, with_words, words_behind
from miner.rulebook import FactorRule, OutcomeRule, RuleBook
from miner.tables.cuts import OWN_CUTS, threshold
from miner.tables.unit_table import UnitTable


def freeze(
    found: Hypothesis, summary: OutcomeSummary, table: UnitTable, rules: RuleBook, client: Client
) -> FrozenIdea:
    """Return what the ledger keeps of a ranked hypothesis.

    Args:
        found: as ranked on these records.
        summary: of its outcome, from the same ranking.
        table: days or meals of these records.
        rules: the rule books it was ranked with.
        client: as read.
    """
    factors = {name: rules.factor(name, table.unit) for name in found.factors}
    fixed = {name: _fixed_cut(name, rule, table) for name, rule in factors.items()}
    outcome = rules.outcome(found.outcome, table.unit)
    kept = {
        "id": found.id,
        "factors": list(found.factors),
        "lag_days": list(found.lag_days),
        "outcome": found.outcome,
        "unit_of": table.unit,
        "relation": found.relation,
        "definitions": {
            "factors": {name: _plain(rule) for name, rule in fixed.items()},
            "outcome": _plain(outcome),
            "range": list(client.settings.range),
            "words": {
                name: list(words)
                for name in found.factors
                if (words := words_behind(name, client.settings))
            },
        },
        "direction": "up" if (found.difference or 0.0) > 0 else "down",
        "difference": found.difference,
        "expected": found.expected_on_new_days,
        "shape": str(found.shape),
        "per": None if found.per is None else found.per.to_dict(),
        "smallest_worth_it": outcome.smallest_worth_it,
        "evidence": str(found.evidence),
        "family": found.family,
        "wobble": summary.ordinary_wobble,
        "standard_error": found.standard_error,
        "degrees_of_freedom": found.degrees_of_freedom,
        "units": found.counts.known + found.counts.unknown,
        "with": found.counts.with_,
        "without": found.counts.without,
        "t_at_worth": found.t_at_worth,
        "records_hash": client.records_hash,
        "rules_hash": rules.hash,
    }
    return FrozenIdea.read(plain(kept))


def thaw(kept: FrozenIdea, rules: RuleBook) -> RuleBook:
    """Return the rule books with the kept definitions in place of the present ones.

    Raises:
        MinerError: the definitions in the ledger cannot be read.
    """
    start = "meal." if kept.unit_of == "meal" else ""
    written, limits = kept.definitions, kept.definitions.range
    try:
        factors = {
            f"{start}{name}": FactorRule.model_validate(rule)
            for name, rule in written.factors.items()
        }
        outcome = OutcomeRule.model_validate(written.outcome)
        name = rules.key_of(kept.outcome, kept.unit_of)
        now = rules.outcomes.get(name)
        if now is not None and now.label == outcome.label:
            outcome = outcome.model_copy(update={"label_of_client": now.label_of_client})
    except ValidationError as error:
        raise MinerError("followup.kept_unreadable", file=NAME, id=kept.id) from error
    if limits is None:
        raise MinerError("followup.kept_unreadable", file=NAME, id=kept.id)
    low, high = limits
    if not low < high:
        raise MinerError("followup.range_backwards", file=NAME, id=kept.id, low=low, high=high)
    others = {key: rule for key, rule in rules.factors.items() if key not in factors}
    update = {"factors": others | factors, "outcomes": dict(rules.outcomes) | {name: outcome}}
    return rules.model_copy(update=update)


def as_kept(client: Client, kept: FrozenIdea) -> Client:
    """Return the client with the range, and the words of a tag or food, as they were then."""
    low, high = kept.definitions.range or client.settings.range
    settings = replace(client.settings, range=(float(low), float(high)))
    return with_words(replace(client, settings=settings), kept.definitions.words)


def reworded(client: Client, kept: FrozenIdea) -> tuple[str, ...]:
    """Return the words that what is kept goes on with, where other words count as it now."""
    return tuple(
        word
        for factor, words in kept.definitions.words.items()
        if words_behind(standing_for(factor, client.settings), client.settings) != words
        for word in words
    )


def _fixed_cut(name: str, rule: FactorRule, table: UnitTable) -> FactorRule:
    """Return the rule with a client's own quarter or median as the number it came to."""
    if rule.cut not in OWN_CUTS or name not in table.measures:
        return rule
    values = table.measures[name].to_numpy(dtype=float)
    known = values[table.frame["usable"].to_numpy(dtype=bool) & ~np.isnan(values)]
    if not known.size:
        return rule
    at = threshold(known, rule)
    if not isfinite(at):
        return rule
    if rule.cut in ("own_low_quarter", "below_own_median"):
        return rule.model_copy(update={"cut": "below", "at": at})
    beyond = nextafter(at, inf) if rule.cut == "own_high_quarter" else at
    return rule.model_copy(update={"cut": "at_least", "at": beyond})


def _plain(rule: FactorRule | OutcomeRule) -> dict[str, Any]:
    return rule.model_dump(mode="json", by_alias=True, exclude={"label_of_client"})
