"""What the script needs to show a day's curve when a mark is touched."""

from __future__ import annotations

from typing import Any

from miner.core.results.briefing import NoteAt
from miner.render.drawn import Studio
from miner.render.figures.month import HIGHEST, LOWEST
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.safe import clean
from miner.words.wording import day_name

HOURS_BEFORE = 9


LANES = ("sleep", "stress", "activity", "meals", "tags")
CLIENTS_OWN = ("meals", "tags")


def curves(studio: Studio, *, words: bool) -> dict[str, Any]:
    """Return what a day's picture is drawn from, in the unit shown.

    Thinned readings, where each day lies in them, and what was recorded beside them.

    Args:
        studio: of the page.
        words: name the meals and tags; without, only when they were is shown, for nothing that
            was not chosen may reach a client's page.
    """
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
        "lanes": LANES,
        "notes": [
            [LANES.index(note.stream), note.start, note.end, *_named(note, words=words)]
            for note in brief.series.notes
        ],
        "days": {
            day.day: {"name": day_name(day.day), "told": studio.told(day), "from": day.start,
                      "to": day.end}
            for day in brief.days
        },
    }  # fmt: skip


def _named(note: NoteAt, *, words: bool) -> list[str]:
    told = words and note.stream in CLIENTS_OWN
    return [clean(note.text.removeprefix("tag "), 60)] if told else []
