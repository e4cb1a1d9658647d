"""What needs the practitioner's eye, said once for all the clients it concerns."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence

from miner.core.results.caseload import ClientRow
from miner.words.safe import clean

COUNT = re.compile(r" on (\d+ days?)(?=\.)| \((\d+)\)(?=:)")
LONGEST_NAME, LONGEST_TEXT = 40, 400


def concerns(clients: Sequence[ClientRow]) -> list[tuple[list[str], str]]:
    """Return the names concerned and the text: cautions first, then what could not be used.

    Texts that differ in one count alone are one text, the count beside each name.
    """
    by_text: dict[str, list[str]] = defaultdict(list)

    def add(client: str, texts: Sequence[str]) -> None:
        for text in texts:
            without, name = _counted(clean(text, LONGEST_TEXT), clean(client, LONGEST_NAME))
            by_text[without].append(name)

    for row in clients:
        add(row.client, row.cautions)
    for row in clients:
        if row.error:
            by_text[clean(row.error, LONGEST_TEXT)].append(clean(row.client, LONGEST_NAME))
    for row in clients:
        add(row.client, row.attention)
    for row in clients:
        if row.not_asked:
            text = f"At the intake not asked: {', '.join(row.not_asked)}."
            by_text[clean(text, LONGEST_TEXT)].append(clean(row.client, LONGEST_NAME))
    return [(names, text) for text, names in by_text.items()]


def _counted(text: str, name: str) -> tuple[str, str]:
    found = COUNT.search(text)
    if found is None:
        return text, name
    return text[: found.start()] + text[found.end() :], f"{name} ({found[1] or found[2]})"
