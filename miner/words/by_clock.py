"""The table of the readings by time of day, in words and in the unit shown."""

from __future__ import annotations

from miner.core.results.briefing import TimeOfDay
from miner.words.teller import Teller


def by_clock(teller: Teller) -> list[dict[str, str]]:
    """Return one row a part of the day; nothing without days."""
    return [_row(item, teller) for item in teller.brief.times]


def _row(item: TimeOfDay, teller: Teller) -> dict[str, str]:
    level = teller.amounts.level
    row = {
        "name": item.name.capitalize(),
        "hours": f"{item.first_hour:02d}:00 to {item.last_hour:02d}:00",
        "days": str(item.days),
        "middle": "not known", "half": "", "most": "", "above": "",
    }  # fmt: skip
    if item.spread is None:
        return row
    low, quarter, middle, three, high = (level(value, "mg/dL") for value in item.spread)
    return row | {
        "middle": middle, "half": f"{quarter} to {three}", "most": f"{low} to {high}",
        "above": level(item.above, "min"),
    }  # fmt: skip
