"""What the script needs to show a day's curve when a mark is touched."""

from __future__ import annotations

from typing import Any

from miner.brief.drawn import Studio
from miner.brief.figures.month import HIGHEST, LOWEST
from miner.brief.text.amounts import MG_DL_PER_MMOL_L
from miner.brief.wording import day_name

HOURS_BEFORE = 9


def curves(studio: Studio) -> dict[str, Any]:
    """Return the thinned readings and where each day lies in them, in the unit shown."""
    brief = studio.teller.brief
    mmol = brief.display_unit == "mmol/L"
    scale, digits = (MG_DL_PER_MMOL_L, 1) if mmol else (1.0, None)
    start = int(brief.series.start[11:13]) * 60 + int(brief.series.start[14:16])
    return {
        "unit": brief.display_unit,
        "low": LOWEST / scale,
        "high": HIGHEST / scale,
        "lines": [4, 8, 12] if mmol else [50, 100, 150, 200, 250],
        "step": brief.series.step_min,
        "clock": start,
        "before": HOURS_BEFORE * 60,
        "values": [
            None if value is None else round(value / scale, digits)
            for value in brief.series.values
        ],
        "days": {
            day.day: {"name": day_name(day.day), "told": studio.told(day), "from": day.start,
                      "to": day.end}
            for day in brief.days
        },
    }  # fmt: skip
