"""The record as a picture, and what its key has to name."""

from __future__ import annotations

from typing import Any

from miner.render.drawn import MANY_DAYS, Studio


def days_shown(studio: Studio) -> dict[str, Any]:
    """Return the picture of the days, or None without any, and what stands in its key."""
    teller = studio.teller
    days, name = teller.brief.days, teller.brief.high_outcome
    return {
        "month": studio.month() if days else None,
        "long": len(days) > MANY_DAYS,
        "beyond": studio.beyond,
        "high_label": teller.rules.outcome(name).label if name else "",
        "some_high": any(day.high and day.usable for day in days),
        "left_out": [day.day for day in days if not day.usable],
    }
