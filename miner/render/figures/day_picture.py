"""One day on one time axis: glucose above, sleep, stress, activity, meals and tags below."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from miner.core.results.morning import DayReview, Noted
from miner.render.figures.paper import INK, LABEL, LINE, ONE, SOFT, TWO, axes, drawing, sheet
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.safe import clean

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH, HEIGHT, LEFT = 900, 560, 90
LANES = ("sleep", "stress", "activity", "meals", "tags")
LONGEST_GAP_MIN = 30
TICKS_EVERY_MIN = 180
SHORTEST_MIN = 4
LETTER = 8.2
"""Width of a letter of the words in a lane, in points."""
FEWEST_LETTERS, MOST_LETTERS = 4, 18


def day_picture(found: DayReview, display_unit: str = "mg/dL") -> Figure:
    """Draw a day from falling asleep to the next waking.

    Args:
        found: the day.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    starts = [minute for minute, _ in found.curve] + [
        _since(item.start, found) for item in _shown(found)
    ]
    begin, end = min([*starts, 0.0]), _since(found.end, found)
    with drawing():
        figure = sheet(WIDTH, HEIGHT)
        upper = axes(figure, LEFT, 30, WIDTH - LEFT - 20, 300)
        lower = axes(figure, LEFT, 350, WIDTH - LEFT - 20, 165)
        for place in (upper, lower):
            place.set(xlim=(begin - 10, end + 10), xticks=[])
            place.axvline(0, color=SOFT, linewidth=0.8)
        ticks = _ticks(found, begin, end)
        _glucose(upper, found, display_unit)
        _lanes(lower, found)
        lower.set_xticks([minute for minute, _ in ticks], [text for _, text in ticks])
    return figure


def _shown(found: DayReview) -> list[Noted]:
    return [item for item in found.lanes if item.stream in LANES and not item.date_only]


def _since(clock: str, found: DayReview) -> float:
    moment, start = datetime.fromisoformat(clock), datetime.fromisoformat(found.start)
    return (moment - start).total_seconds() / 60


def _glucose(place: Axes, found: DayReview, display_unit: str) -> None:
    scale = 1 / MG_DL_PER_MMOL_L if display_unit == "mmol/L" else 1.0
    low, high = (limit * scale for limit in found.range)
    place.axhspan(low, high, color=LINE, alpha=0.35, linewidth=0)
    if found.curve:
        minutes, values = np.array(found.curve, dtype=np.float64).T
        for piece in np.split(
            np.arange(minutes.size), np.flatnonzero(np.diff(minutes) > LONGEST_GAP_MIN) + 1
        ):
            place.plot(minutes[piece], values[piece] * scale, color=INK, linewidth=1.6)
    for rise in found.rises:
        top = (rise.baseline + rise.height) * scale
        place.plot([_since(rise.peak, found)], [top], "o", color=ONE, markersize=6)
    title = f"Glucose, {display_unit}, with the client's own range shaded"
    place.set_title(title, loc="left", color=INK, size=14)
    place.text(
        0,
        0.98,
        " waking",
        transform=place.get_xaxis_transform(),
        color=SOFT,
        size=13,
        va="top",
        bbox=LABEL,
    )


def _lanes(place: Axes, found: DayReview) -> None:
    row = {name: len(LANES) - 1 - number for number, name in enumerate(LANES)}
    for item in _shown(found):
        start, end = _since(item.start, found), _since(item.end, found)
        colour = TWO if item.stream in ("meals", "tags") else ONE
        place.barh(
            row[item.stream],
            max(end - start, SHORTEST_MIN),
            left=start,
            height=0.5,
            color=colour,
            linewidth=0,
        )
    for stream in ("meals", "tags"):
        _words(place, [item for item in _shown(found) if item.stream == stream], found, row[stream])
    place.set_ylim(-0.6, len(LANES) - 0.2)
    place.set_yticks(list(row.values()), list(row))


def _words(place: Axes, items: list[Noted], found: DayReview, row: int) -> None:
    """Write the words above the marks of a lane, each only as far as the next mark."""
    starts = [_since(item.start, found) for item in items]
    a_minute = (WIDTH - LEFT - 20) / (place.get_xlim()[1] - place.get_xlim()[0])
    for start, follows, item in zip(starts, [*starts, np.inf][1:], items, strict=True):
        room = (follows - start) * a_minute / LETTER
        text = clean(item.own, MOST_LETTERS)
        if room < len(text):
            text = clean(text, int(room)) if room >= FEWEST_LETTERS else ""
        place.text(
            start, row + 0.33, text, color=INK, size=13, ha="left", va="bottom", clip_on=True
        )


def _ticks(found: DayReview, begin: float, end: float) -> list[tuple[float, str]]:
    start = datetime.fromisoformat(found.start)
    midnight = -(start.hour * 60 + start.minute)
    first = int(np.ceil((begin - midnight) / TICKS_EVERY_MIN))
    last = int(np.floor((end - midnight) / TICKS_EVERY_MIN))
    return [
        (midnight + TICKS_EVERY_MIN * k, f"{TICKS_EVERY_MIN * k // 60 % 24:02d}:00")
        for k in range(first, last + 1)
    ]
