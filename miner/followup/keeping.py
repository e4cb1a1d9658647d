"""What is written down when a hypothesis is kept: as it was then, and when it is read.

The definitions that are kept with it are not changed by later rule books.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil, inf, isfinite, nextafter
from typing import Any

import numpy as np
from pydantic import ValidationError

from miner.core.messages import MinerError, closest
from miner.core.results import Hypothesis, OutcomeSummary, Ranking, Shape, plain
from miner.followup.following import LEVEL
from miner.ledger import NAME, FrozenIdea, KeptEntry
from miner.records.client import Client
from miner.records.synonyms import standing_for, with_words, words_behind
from miner.rulebook import WORDS_OF_OUTCOME, FactorRule, OutcomeRule, RuleBook
from miner.stats.power import AtHand, new_units_for, power_on_new_units
from miner.tables.cells import OWN_CUTS, threshold
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
        if now is not None:
            words = {name: getattr(now, name) for name in ("label", *WORDS_OF_OUTCOME)}
            outcome = outcome.model_copy(update=words)
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
    return rule.model_dump(mode="json", by_alias=True, exclude=set(WORDS_OF_OUTCOME))


MIN_DAYS, MAX_DAYS = 14, 120
WANTED = 0.8
MIN_EACH_SIDE = 5


def at_hand(kept: FrozenIdea) -> AtHand | None:
    """Return what the units it was kept from say of the difference looked for.

    None of an entry that does not hold it.
    """
    t, units, df = kept.t_at_worth, kept.units, kept.degrees_of_freedom
    with_, without = float(kept.with_ or 0), float(kept.without or 0)
    if not units or df is None or t is None or not isfinite(t) or not with_ + without > 0:
        return None
    if kept.shape == Shape.DOSE:
        with_ = without = (with_ + without) / 2
    t *= kept.sought / (kept.smallest_worth_it / kept.span)
    return AtHand(float(t), int(units), int(units - df - 1), with_, without)


def power_on(kept: FrozenIdea, days: int, together: int) -> float | None:
    """Return how often the difference looked for holds up after so many days; None if not known.

    Args:
        kept: as frozen.
        days: from the last day seen to the date.
        together: how many are followed at the same time.
    """
    hand = at_hand(kept)
    if hand is None:
        return None
    units = int(days * float(kept.a_day or 1.0))
    return power_on_new_units(hand, units, LEVEL / together, _least(kept))


def reading_days(kept: FrozenIdea, together: int) -> int:
    """Return after how many days a kept pattern is read, within 14 to 120.

    After as many as find the difference looked for 80 times in 100, by themselves.
    """
    hand, a_day = at_hand(kept), float(kept.a_day or 1.0)
    if hand is None:
        return MAX_DAYS
    most = ceil(MAX_DAYS * a_day)
    units = new_units_for(hand, LEVEL / together, WANTED, _least(kept), most)
    return MAX_DAYS if units is None else min(max(ceil(units / a_day), MIN_DAYS), MAX_DAYS)


def _least(kept: FrozenIdea) -> int:
    return 0 if kept.shape == Shape.DOSE else MIN_EACH_SIDE


WAYS = ("watch", "alternate", "adopt")
ADOPTED_DAYS = 28
MAX_READ = 366
MAX_NOTE = 1000


@dataclass(frozen=True, slots=True)
class RankedOn:
    """What a hypothesis was ranked on: the client, the rule books, the ranking, its units."""

    client: Client
    rules: RuleBook
    ranking: Ranking
    table: UnitTable

    def find(self, id_: str) -> Hypothesis:
        """Return the hypothesis of that ID; only one with a direction can be kept.

        Raises:
            MinerError: there is none, or nothing could be measured of it.
        """
        found = self.ranking.find(id_)
        if found is None:
            close = closest(id_, [item.id for item in self.ranking.hypotheses])
            raise MinerError("followup.no_hypothesis", id=id_, close=close)
        if not found.difference:
            raise MinerError("followup.no_direction", id=id_)
        return found


@dataclass(frozen=True, slots=True)
class KeepWish:
    """How a hypothesis is to be kept.

    Attributes:
        as_: "watch", "alternate" or "adopt".
        read_on: the date asked for, or None.
        note: words of one's own.
    """

    as_: str
    read_on: date | None = None
    note: str = ""


def entry_of(
    source: RankedOn, found: Hypothesis, wish: KeepWish, *, seen_to: str, together: int = 1
) -> KeptEntry:
    """Return the entry of the ledger: the hypothesis frozen, what was seen, when it is read.

    Args:
        source: what it was ranked on.
        found: the hypothesis of that ranking.
        wish: how it is to be kept.
        seen_to: last day any ranking has seen, ISO.
        together: how many are watched at the same time, this one among them.

    Raises:
        MinerError: the date is too near or too far, or the note too long.
    """
    if len(wish.note) > MAX_NOTE:
        raise MinerError("followup.long_note", count=len(wish.note), most=MAX_NOTE)
    ranking, table = source.ranking, source.table
    summary = next(item for item in ranking.outcomes if item.name == found.outcome)
    frozen = freeze(found, summary, table, source.rules, source.client)
    frozen = frozen.model_copy(update={"a_day": _a_day(found, table)})
    days = ADOPTED_DAYS if wish.as_ == "adopt" else reading_days(frozen, together)
    chosen = wish.read_on.isoformat() if wish.read_on else later(seen_to, days)
    first, end = later(seen_to, MIN_DAYS), later(seen_to, MAX_READ)
    if not first <= chosen <= end:
        raise MinerError(
            "followup.read_out_of_reach", day=chosen, seen=seen_to, first=first, last=end
        )
    after = (date.fromisoformat(chosen) - date.fromisoformat(seen_to)).days
    more = {
        "sought": frozen.sought,
        "power": power_on(frozen, after, together),
        "as": wish.as_,
        "note": wish.note,
        "suggested_by_days_to": seen_to,
        "records_last_day": seen_to,
        "read_on": chosen,
        "days_to_settle": found.days_to_settle,
        "rankings_of_these_records": ranking.rankings_of_these_records,
    }
    return KeptEntry.read(frozen.payload() | plain(more))


def _a_day(found: Hypothesis, table: UnitTable) -> float | None:
    """Return on how many units of a day, usable or not, the outcome was known on average."""
    used = table.frame["date"][table.frame["usable"].to_numpy(dtype=bool)]
    if not len(used):
        return None
    first, last = (date.fromisoformat(str(day)) for day in (used.min(), used.max()))
    return (found.counts.known + found.counts.unknown) / ((last - first).days + 1)


def later(day: str, days: int) -> str:
    """Return an ISO date so many days later."""
    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()
