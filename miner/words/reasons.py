"""Why something is not known: alike for units that differ in a number only."""

from __future__ import annotations

from miner.core.messages import Message
from miner.words.said import texts


def reason_kind(why: Message | str) -> str:
    """Return a reason without what differs from meal to meal."""
    if isinstance(why, str):
        return why
    said = texts(why.code, why.values)
    return said.get("kind", said["text"])
