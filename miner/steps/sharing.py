"""Writes down what was shared with a client."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime

from miner import ledger
from miner.core.messages import Message, message
from miner.core.results.briefing import Briefing
from miner.records.client import Client


def remember_shared(
    client: Client,
    brief: Briefing,
    page: str,
    ids: Sequence[str],
    text: str | None = None,
    now: datetime | None = None,
) -> tuple[Message, ...]:
    """Write to the client's ledger that a page was made to be shared, and what was in it.

    Args:
        client: as read.
        brief: what the page was made from.
        page: which page.
        ids: the hypotheses on it.
        text: the page itself, of which the SHA-256 is written.
        now: time of the entry.

    Returns:
        A note where it could not be written.
    """
    payload = {
        "page": page, "ids": list(ids), "calm": brief.calm, "version": brief.ranking.version,
        "records_hash": brief.ranking.records_hash, "rules_hash": brief.ranking.rules_hash,
        "sha256": None if text is None else hashlib.sha256(text.encode("utf-8")).hexdigest(),
    }  # fmt: skip
    try:
        ledger.append(client.folder, "shared", payload, now or datetime.now(UTC))
    except ledger.LedgerUnwritable as error:
        return (message("steps.sharing_not_written", why=error.found),)
    return ()
