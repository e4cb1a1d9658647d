"""The record as a picture: each day's spread of readings and its value at waking, in order."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from math import ceil
from typing import TYPE_CHECKING

from miner.core.results.briefing import DayPicture
from miner.render.figures.inline import MARK
from miner.render.figures.paper import INK, LINE, ONE, PAPER, SOFT, TWO, axes, drawing, sheet
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.safe import clean
from miner.words.wording import day_and_month, weekday

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# One scale for everyone, in mg/dL: pages of different people and months can be laid side by side.
LOWEST, HIGHEST = 40.0, 260.0
# What lies above is drawn here, with room for the mark over it.
TOP = HIGHEST - 8
_TICKS = {"mg/dL": (50, 100, 150, 200, 250), "mmol/L": (4, 6, 8, 10, 12, 14)}


def month(days: Sequence[DayPicture], display_unit: str, width: int, height: int) -> Figure:
    """Draw the days of a record.

    Args:
        days: at least one.
        display_unit: ``mg/dL`` or ``mmol/L``.
        width: in points.
        height: in points.
    """
    scale = MG_DL_PER_MMOL_L if display_unit == "mmol/L" else 1.0
    with drawing():
        figure = sheet(width, height)
        box = axes(figure, 46, 16, width - 66, height - 78)
        limits = LOWEST / scale, HIGHEST / scale
        box.set(xlim=(-0.7, max(len(days), 14) - 0.3), ylim=limits)
        ticks = [tick for tick in _TICKS[display_unit] if tick * scale <= HIGHEST]
        box.set_yticks(ticks, [str(tick) for tick in ticks])
        for tick in ticks:
            box.axhline(tick, color=LINE, lw=0.8, zorder=0)
        box.set_title(
            display_unit, loc="left", fontsize=13, color=SOFT, pad=4, x=-38 / (width - 66)
        )
        pace = (width - 66) / max(len(days), 14)
        for at, day in enumerate(days):
            _day(box, at, day, scale, pace)
        _dates(box, days, every=ceil(58 / (pace * 7)))
        _sensors(figure, box, days, width, height)
        return figure


def _day(box: Axes, at: int, day: DayPicture, scale: float, pace: float) -> None:
    thick = min(11.0, 0.52 * pace)
    if day.spread is not None:
        low, quarter, middle, three, high = (_kept(value) / scale for value in day.spread)
        if day.usable:
            colour = TWO if day.high else ONE
            box.plot([at, at], [low, high], color=colour, lw=1.4, solid_capstyle="butt")
            box.plot([at, at], [quarter, three], color=colour, lw=thick, solid_capstyle="butt")
            box.plot([at], [middle], "_", color=PAPER, ms=thick, mew=1.6)
            if day.high:
                size = min(10.0, 0.55 * pace)
                box.plot([at], [high + 6 / scale], "D", color=TWO, ms=size * 0.8, mew=0)
        else:
            box.plot([at, at], [low, high], color=SOFT, lw=1.2, ls=(0, (1.5, 2)))
    if not day.usable:
        box.plot([at], [(LOWEST + 6) / scale], "x", color=SOFT, ms=min(7.0, 0.5 * pace), mew=1.6)
    if day.wake is not None and day.usable:
        size = min(6.5, 0.42 * pace)
        box.plot(
            [at - 0.36],
            [_kept(day.wake) / scale],
            "o",
            ms=size,
            mfc=PAPER,
            mec=INK,
            mew=1.3,
            zorder=4,
        )
    box.plot(
        [at, at],
        [LOWEST / scale, HIGHEST / scale],
        color=PAPER,
        alpha=0,
        lw=pace,
        gid=f"{MARK}{day.day}/month",
        solid_capstyle="butt",
        zorder=6,
    )


def _kept(value: float) -> float:
    return min(max(value, LOWEST), TOP)


def _dates(box: Axes, days: Sequence[DayPicture], every: int) -> None:
    mondays = [at for at, day in enumerate(days) if weekday(day.day) == "Mon"][::every]
    places = mondays or [0]
    box.set_xticks(places, [day_and_month(days[at].day, short=True) for at in places])
    box.tick_params(axis="x", pad=9)
    for at in places:
        box.plot(
            [at, at],
            [0, -0.018],
            color=SOFT,
            lw=1,
            clip_on=False,
            transform=box.get_xaxis_transform(),
        )


def _sensors(
    figure: Figure, box: Axes, days: Sequence[DayPicture], width: int, height: int
) -> None:
    strip = axes(figure, 46, height - 30, width - 66, 26)
    strip.set(xlim=box.get_xlim(), ylim=(0, 1), xticks=[], yticks=[])
    runs = [
        (name, [at for at, _ in run])
        for name, run in groupby(enumerate(days), key=lambda pair: pair[1].sensor)
    ]
    room = (width - 66) / max(len(days), 14)
    for name, places in runs:
        if not name:
            continue
        first, last = places[0] - 0.4, places[-1] + 0.4
        strip.plot([first, first, last, last], [0.95, 0.78, 0.78, 0.95], color=SOFT, lw=1)
        label = clean(name, 18).replace("-", " ")
        label = label if label.startswith("sensor") else f"sensor {label}"
        if len(label) * 7 < room * len(places):
            strip.text((first + last) / 2, 0.12, label, ha="center", fontsize=13, color=SOFT)
