"""Patterns by number: the numbers that the last ranking of a client showed."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

from miner import ledger
from miner.core.messages import MinerError, Words
from miner.core.results import Ranking
from miner.ledger import Event
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.client_ledger import folder_of, ledger_of
from miner.steps.looks import add_entry

_NUMBER = re.compile(r"[+-]?[0-9]{1,7}([.,][0-9]+)?")
"""What looks like a number; an ID of digits alone has eight of them."""


def remember_numbers(
    client: Client, ranking: Ranking, rules: RuleBook, *, now: datetime | None = None
) -> tuple[Words, ...]:
    """Write which numbers a ranking was shown with, where others were shown last; return notes.

    Args:
        client: as read.
        ranking: as it was shown.
        rules: the rule books it was made with.
        now: time of the ledger's entry; by default the clock's.
    """
    shown = ranking.numbered(rules.guardrails.hints_shown)
    payload = {
        **ledger.whose(client.settings.code, client.folder),
        "unit": ranking.unit,
        "ids": [item.id for item in shown],
        "first": ranking.first_day,
        "last": ranking.last_day,
    }
    before = _last(client)
    if before is not None and all(before.payload.get(name) == payload[name] for name in payload):
        return ()
    return add_entry(client, "numbered", payload, now)


def id_of_number(client: Client | Path, asked: str) -> str:
    """Return the ID of the pattern that has a number in the last ranking shown; an ID as it is.

    Args:
        client: as read, or its folder.
        asked: a number, or anything else.

    Raises:
        MinerError: it is a number, and no ranking was shown yet or the last one does not have it.
    """
    text = asked.strip()
    if not _NUMBER.fullmatch(text):
        return text
    last = _last(client)
    if last is None:
        raise MinerError("steps.number_before_ranking", number=text, folder=folder_of(client))
    ids = [str(id_) for id_ in last.listed("ids")]
    if text.isdecimal() and 0 < int(text) <= len(ids):
        return ids[int(text) - 1]
    code = "steps.number_not_in_ranking" if ids else "steps.ranking_without_numbers"
    unit = str(last.payload.get("unit"))
    raise MinerError(code, number=text, most=len(ids), unit=unit, folder=folder_of(client))


def number_of(client: Client | Path, id_: str) -> str:
    """Return the number that a pattern has in the last ranking shown; its ID where it has none.

    Args:
        client: as read, or its folder.
        id_: of the pattern.
    """
    last = _last(client)
    ids = [] if last is None else [str(one) for one in last.listed("ids")]
    return str(ids.index(id_) + 1) if id_ in ids else id_


def _last(client: Client | Path) -> Event | None:
    shown = ledger.named(ledger_of(client).book, "numbered")
    return shown[-1] if shown else None
