"""What the pages need of a client's meals beside a ranking by day, and the units behind an ID."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from miner.core.results import Hypothesis, MealComparison, Ranking, Why
from miner.hypotheses.why import why_table
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.meal_steps import compare_meals
from miner.steps.ranking import Progress, rank
from miner.tables.unit_table import UnitTable


def rank_meals(
    client: Client,
    rules: RuleBook,
    *,
    seed: int,
    remember: bool,
    now: datetime | None,
    progress: Progress | None = None,
) -> Ranking | None:
    """Rank the meals of a client whose practice ranks by day; None where no meal was noted.

    It is the ranking of ``rank`` with ``unit="meal"``: a second look, remembered like any other.

    Args:
        client: as read.
        rules: the rule books.
        seed: of the ranking.
        remember: write to the ledger that these records were ranked.
        now: time of that entry.
        progress: told what is being done and the share done.
    """
    if client.settings.rank_unit == "meal" or not len(client.used("meals")):
        return None
    return rank(
        client, rules, unit="meal", seed=seed, remember=remember, now=now, together=False,
        progress=progress,
    )  # fmt: skip


def units_behind(table: UnitTable, rules: RuleBook, item: Hypothesis, client: Client) -> Why:
    """Return the units behind a hypothesis; of a fixed question those after it was fixed."""
    found = why_table(table, rules, item.id, client.settings.code)
    since = item.fixed_on if item.family == "fixed" else None
    if since is None:
        return found
    own = frozenset(table.frame.index[table.frame["date"] > since].astype(str))
    return replace(found, units=tuple(unit for unit in found.units if unit.unit in own))


def pairs_of_chosen(
    client: Client,
    rules: RuleBook,
    chosen: Sequence[tuple[str, Hypothesis]],
    table: UnitTable | None,
) -> dict[str, MealComparison]:
    """Return the pairs of similar meals of each single habit that was chosen, where there are any.

    Args:
        client: as read.
        rules: the rule books.
        chosen: hypotheses, each with its unit; those by day have no pairs.
        table: the client's meal table, or None without meals.
    """
    found = {
        item.id: compare_meals(client, item.factors[0], rules, outcome=item.outcome, table=table)
        for unit, item in chosen
        if unit == "meal" and len(item.factors) == 1
    }
    return {id_: pairs for id_, pairs in found.items() if pairs.pairs}
