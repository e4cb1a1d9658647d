"""What was kept last time and what came of it."""

from __future__ import annotations

import re
from typing import Any

from miner.core.results.follow import KeptResult
from miner.words.ended import way_words
from miner.words.follow import kept_lines, kept_title
from miner.words.plan import result_lines
from miner.words.safe import clean
from miner.words.said_of import of_client
from miner.words.teller import Teller
from miner.words.wording import full_date

# On a page a date as people write it: one with hyphens would be broken at them.
_ISO = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def kept_before(teller: Teller) -> list[dict[str, Any]]:
    """Return everything kept before, the newest first: what it is, how it is kept, what came."""
    return [_told(item, teller) for item in reversed(teller.brief.kept)]


def _told(item: KeptResult, teller: Teller) -> dict[str, Any]:
    lines = kept_lines(item, teller.rules, teller.amounts)
    if item.test is not None and item.test.status is not None:
        lines[-1:-1] = result_lines(item.test, teller.rules, teller.amounts)
    return {
        "id": item.id,
        "title": clean(kept_title(item, teller.rules), 200),
        "how": way_words(item.as_, teller.rules),
        "open": item.open,
        "lines": [
            _ISO.sub(lambda day: full_date(day[0]), of_client(clean(line))) for line in lines
        ],
    }
