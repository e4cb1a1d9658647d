"""Why something is not known, alike for units that differ in a number only."""

from __future__ import annotations


def reason_kind(why: str) -> str:
    """Return a reason without what differs from meal to meal."""
    if "next food came" in why:
        return "the next food came before the 2 hours were over"
    if why.startswith("readings cover "):
        return f"readings cover too little of the 2 hours after it, {why.rpartition(', ')[2]}"
    return why
