"""What is written down when a hypothesis is kept."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from miner.core.errors import MinerError, nearest
from miner.core.results import Hypothesis, Ranking
from miner.followup.dates import SHORTEST, power_on, reading_days
from miner.followup.following import sought
from miner.followup.frozen import freeze
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable

WAYS = ("watch", "alternate", "adopt")
ADOPTED_DAYS = 28
LONGEST_READ = 366
LONGEST_NOTE = 1000


def ranked(ranking: Ranking, id_: str) -> Hypothesis:
    """Return the hypothesis of that ID; only one with a direction can be kept.

    Raises:
        MinerError: there is none, or nothing could be measured of it.
    """
    found = ranking.find(id_)
    if found is None:
        raise MinerError(
            f"there is no hypothesis '{id_}' in these records", "an ID as 'miner rank' prints it",
            nearest(id_, [item.id for item in ranking.hypotheses]) or "Run 'miner rank'.",
        )  # fmt: skip
    if not found.difference:
        raise MinerError(
            f"nothing could be measured of '{id_}', so it has no direction",
            "a hypothesis with a difference", "Choose another, or keep logging.",
        )  # fmt: skip
    return found


def payload(
    client: Client,
    rules: RuleBook,
    ranking: Ranking,
    found: Hypothesis,
    table: UnitTable,
    *,
    as_: str,
    seen_to: str,
    read_on: date | None,
    note: str,
    together: int = 1,
) -> dict[str, Any]:
    """Return the entry of the ledger: the hypothesis frozen, what was seen, when it is read.

    Args:
        client: as read.
        rules: the rule books it was ranked with.
        ranking: of the present records.
        found: the hypothesis of that ranking.
        table: the units it was ranked on.
        as_: "watch", "alternate" or "adopt".
        seen_to: last day any ranking has seen, ISO.
        read_on: the date asked for, or None.
        note: words of one's own.
        together: how many are watched at the same time, this one among them.

    Raises:
        MinerError: the date is too near or too far, or the note too long.
    """
    if len(note) > LONGEST_NOTE:
        raise MinerError(
            f"the note has {len(note)} characters", f"at most {LONGEST_NOTE}", "Shorten --note."
        )
    summary = next(item for item in ranking.outcomes if item.name == found.outcome)
    frozen = freeze(found, summary, table, rules, client) | {"a_day": _a_day(found, table)}
    days = ADOPTED_DAYS if as_ == "adopt" else reading_days(frozen, together)
    chosen = read_on.isoformat() if read_on else later(seen_to, days)
    first, end = later(seen_to, SHORTEST), later(seen_to, LONGEST_READ)
    if not first <= chosen <= end:
        raise MinerError(
            f"the reading date {chosen} is not within reach of the last day seen, {seen_to}",
            f"a date from {first} to {end}", "Correct --read-on, or leave it out.",
        )  # fmt: skip
    after = (date.fromisoformat(chosen) - date.fromisoformat(seen_to)).days
    return frozen | {
        "sought": sought(frozen), "power": power_on(frozen, after, together),
        "as": as_, "note": note, "suggested_by_days_to": seen_to, "records_last_day": seen_to,
        "read_on": chosen, "days_to_settle": found.days_to_settle,
        "rankings_of_these_records": ranking.rankings_of_these_records,
    }  # fmt: skip


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
