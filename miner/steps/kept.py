"""One kept hypothesis on these records: its own table, its new units, what may be told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from miner.core.messages import MinerError, message
from miner.core.results import Since, Wording, worded
from miner.core.results.follow import KeptResult
from miner.followup import following as judging
from miner.followup.following import Fresh, each_day, fresh
from miner.followup.keeping import as_kept, thaw
from miner.hypotheses.design import design
from miner.hypotheses.why import find
from miner.ledger import FollowupState, FrozenIdea, Kept, VerdictEntry, as_written
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.looks import since, without_seen
from miner.steps.past import Past
from miner.steps.ranking import table_of
from miner.tables.unit_table import UnitTable


@dataclass(frozen=True, slots=True)
class Seen:
    """A watched hypothesis: its table and rule books, its new units, what was changed of them."""

    item: Kept
    table: UnitTable
    rules: RuleBook
    found: Fresh
    reached: bool
    since: Since

    def looks(self) -> Iterator[tuple[str, Fresh]]:
        """Return what a look on every day so far would have seen of its new units."""
        what = self.item.what
        after, until = what.suggested_by_days_to, what.read_on
        return each_day(self.table, self.rules, what, after, until, judging.FIRST_LOOK)


def frozen_table(client: Client, rules: RuleBook, kept: FrozenIdea) -> tuple[UnitTable, RuleBook]:
    """Return the client's units made with the kept definitions, and the rule books with them."""
    books = thaw(kept, rules)
    return table_of(as_kept(client, kept), books, kept.unit_of), books


def see(client: Client, rules: RuleBook, item: Kept, past: Past) -> Seen:
    """Return what these records hold of a watched hypothesis."""
    table, books = frozen_table(client, rules, item.what)
    after, until = item.what.suggested_by_days_to, item.what.read_on
    changes = since(client, past, after, until, item.entry.n)
    table = without_seen(table, changes.seen)
    changes = replace(changes, over_before=_over_before(table, after, until, item.entry.written_by))
    found = fresh(table, books, item.what, after, until)
    return Seen(item, table, books, found, reached(client, rules, table, until), changes)


def _over_before(table: UnitTable, after: str, until: str, written: str) -> int:
    """Return how many new units are of days that had passed when it was kept."""
    frame = table.frame
    dates = frame["date"][frame["usable"].to_numpy(dtype=bool)].astype(str)
    return int(((dates > after) & (dates <= until) & (dates < written[:10])).sum())


def unit_holding(client: Client, rules: RuleBook, id_: str) -> str:
    """Return the unit, of days and meals, in which a hypothesis stands; the practice's own first.

    Raises:
        MinerError: neither holds it.
    """
    own = client.settings.rank_unit
    refused: list[MinerError] = []
    for unit in (own, "meal" if own == "day" else "day"):
        try:
            find(design(table_of(client, rules, unit), rules), rules, id_)
        except MinerError as error:
            refused.append(error)
        else:
            return unit
    raise next((one for one in refused if one.values.get("close")), refused[0])


def reached(client: Client, rules: RuleBook, table: UnitTable, until: str) -> bool:
    """Say whether the records have passed a day; by the readings, whatever is noted."""
    frame = (table if table.unit == "day" else table_of(client, rules, "day")).frame
    dates, usable = frame["date"], frame["usable"].astype(bool)
    return bool((dates > until).any() or ((dates == until) & usable).any())


def last_day(client: Client, rules: RuleBook) -> str | None:
    """Return the last day of the records, ISO."""
    frame = table_of(client, rules, "day").frame
    return str(frame["date"].iloc[-1]) if len(frame) else None


def kept_result(
    story: FollowupState, item: Kept, seen: Seen | None, rules: RuleBook, last: str | None
) -> KeptResult:
    """Return what may be told of one kept hypothesis: a verdict only as it was written.

    Args:
        story: the whole ledger.
        item: what was kept.
        seen: its new units, where it is watched.
        rules: the rule books.
        last: last day of the records.
    """
    what, books = item.what, seen.rules if seen else thaw(item.what, rules)
    with as_written("ledger.verdict_unreadable", item.id):
        told = _told(item, seen)
    before = story.tried(item.id, item.entry.n)
    result = KeptResult(
        id=item.id,
        as_=item.as_,
        kept_on=item.entry.at[:10],
        suggested_by_days_to=what.suggested_by_days_to,
        read_on=what.read_on,
        factors=what.factors,
        lag_days=what.lag_days,
        outcome=what.outcome,
        unit_of=what.unit_of,
        unit=str(what.definitions.outcome["measure_unit"]),
        direction=what.direction,
        expected=what.expected,
        sought=what.sought_then,
        power=what.power,
        smallest_worth_it=float(what.smallest_worth_it),
        note=what.note,
        proven=item.entry.trusted and (item.verdict is None or item.verdict.trusted),
        tried_before=None if before is None else before.ended,
        open=item.open_on(last),
        **told,
    )
    return worded(result, Wording(books, case="" if item.dropped is None else "dropped"))


def _told(item: Kept, seen: Seen | None) -> dict[str, Any]:
    nothing: dict[str, Any] = {
        "new_units": 0,
        "status": None,
        "difference": None,
        "interval": None,
        "p": None,
        "p_adjusted": None,
    }
    if item.as_ != "watch":
        return nothing
    if item.verdict is not None:
        written = VerdictEntry.read(item.verdict.payload)
        if written.status not in judging.ENDED:
            raise ValueError(written.status)
        return {
            "status": written.status,
            "new_units": written.new_units or 0,
            "difference": written.difference,
            "interval": written.interval,
            "p": written.p,
            "p_adjusted": written.p_adjusted,
            "reason": written.reason or "",
            "counts": written.counts,
            "since": written.since,
        }
    if seen is None or item.dropped is not None:
        return nothing
    return nothing | {
        "new_units": seen.found.units,
        "status": judging.WAITING,
        "counts": judging.new_units(seen.found),
        "reason": message("steps.verdict_unwritten") if seen.reached else "",
    }
