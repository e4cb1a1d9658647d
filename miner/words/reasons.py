"""Why something is not known: alike for units that differ in a number only, or for the tracker."""

from __future__ import annotations

from miner.core.messages import Message
from miner.words.said import texts

_OF_TRACKER = ("not_worn_long_enough", "no_tracker_record", "no_time_awake", "no_deep_sleep")


def reason_kind(why: Message | str) -> str:
    """Return a reason without what differs from meal to meal."""
    if isinstance(why, str):
        return why
    said = texts(why.code, why.values)
    return said.get("kind", said["text"])


def is_of_tracker(why: Message | str) -> bool:
    """Say whether something is not known for want of the tracker."""
    return isinstance(why, Message) and why.code.removeprefix("tables.") in _OF_TRACKER
