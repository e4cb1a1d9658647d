"""One idea from beginning to end: before, the test or the new units, and what it showed.

All panels stand on one scale of the outcome: a point of height is as much in each. Differences
hang from the mean of the usual periods, or of new units without the habit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from miner.core.results.follow import FollowPicture, PeriodSeen, UnitSeen
from miner.render.figures.inline import MARK
from miner.render.figures.paper import (
    INK,
    LABEL,
    LINE,
    ONE,
    PAPER,
    SOFT,
    TWO,
    axes,
    drawing,
    round_ticks,
    sheet,
)
from miner.words.wording import day_and_month

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH, NARROW = 840, 330
TOP, TALL, BELOW = 34.0, 236.0, 46.0
LEFT = 46.0
SIDES = (250.0, 300.0, 170.0)
GAP = 24.0
MEANS_ROOM = 92.0
LONGEST_WORDS = 13
"""Room at the right of a panel of units for the means of both groups, in points."""


@dataclass(frozen=True, slots=True)
class Showed:
    """What a test or new units showed, in the unit shown; what is not known is None.

    Attributes:
        each: the difference of each pair that was read.
        agreed: the difference looked for, with its sign.
        told: the difference in words.
        none_told, agreed_told: the words of the lines of no difference and of that looked for.
    """

    difference: float | None
    interval: tuple[float, float] | None
    each: tuple[float, ...]
    agreed: float
    told: str
    none_told: str
    agreed_told: str


@dataclass(frozen=True, slots=True)
class Labels:
    """The words of the picture: of its panels, of both groups, and the unit."""

    panels: tuple[str, str, str]
    with_: str
    without: str
    unit: str


def follow_picture(
    found: FollowPicture, showed: Showed, labels: Labels, scale: float = 1.0, *, wide: bool = True
) -> Figure:
    """Draw the three panels, side by side or below each other.

    Args:
        found: what the verdict is seen by; at least one unit.
        showed: what came of it.
        labels: the words.
        scale: what a value is multiplied with to be shown.
        wide: side by side.
    """
    usual = None if found.usual is None else found.usual * scale
    ticks = _ticks(found, showed, scale, usual)
    panel = TOP + TALL + BELOW
    boxes = [(LEFT, 0.0, SIDES[0])]
    boxes += [(LEFT + SIDES[0] + GAP, 0.0, SIDES[1])]
    boxes += [(LEFT + SIDES[0] + SIDES[1] + 2 * GAP, 0.0, SIDES[2])]
    if not wide:
        boxes = [(LEFT, at * panel, NARROW - LEFT - 8) for at in range(3)]
    size = (WIDTH, panel) if wide else (NARROW, 3 * panel)
    with drawing():
        figure = sheet(*size)
        places = [axes(figure, left, top + TOP, across, TALL) for left, top, across in boxes]
        for at, (place, (left, top, _)) in enumerate(zip(places, boxes, strict=True)):
            _frame(place, ticks, numbered=at == 0 or not wide)
            spot = (left / size[0], 1 - (top + 18) / size[1])
            figure.text(*spot, labels.panels[at], fontsize=15, color=INK, weight="bold")
        for left, top, _ in boxes[: 1 if wide else 3]:
            spot = ((left - 44) / size[0], 1 - (top + TOP + TALL + 38) / size[1])
            figure.text(*spot, labels.unit, fontsize=13, color=SOFT)
        _groups(places[0], found.before, found.sensors, labels, scale, "before")
        if found.periods:
            _periods(places[1], found.periods, found.sensors, scale)
        else:
            _groups(places[1], found.new, found.sensors, labels, scale, "new")
        _showed(places[2], showed, usual)
        return figure


def _ticks(found: FollowPicture, showed: Showed, scale: float, usual: float | None) -> list[float]:
    values = [unit.value * scale for unit in found.units]
    if usual is not None:
        ends = [*showed.each, *(showed.interval or ()), showed.difference or 0.0, showed.agreed]
        values += [usual, *(usual + end for end in ends)]
    return round_ticks(min(values), max(values), 6)


def _frame(place: Axes, ticks: Sequence[float], *, numbered: bool) -> None:
    place.set(ylim=(ticks[0], ticks[-1]), xticks=[])
    place.set_yticks(ticks, [f"{tick:g}" if numbered else "" for tick in ticks])
    for tick in ticks:
        place.axhline(tick, color=LINE, lw=0.8, zorder=0)


def _days(place: Axes, days: Sequence[str], sensors: Iterable[str], room: float) -> None:
    """Set up an axis of days with the first and the last named, and the new sensors among them."""
    first, last = days[0][:10], days[-1][:10]
    across = place.get_window_extent().width * 72 / place.figure.dpi
    begin, end = _at(first) - 0.7, _at(last) + 0.7
    place.set_xlim(begin, begin + (end - begin) / (1 - room / across))
    low, high = place.get_ylim()
    under = low - 0.05 * (high - low)
    for sensor in sensors:
        if first < sensor <= last:
            _draw(place, _at(sensor) - 0.5, under, "^", ms=7, color=INK, mew=0)
    words: Any = {"fontsize": 13, "color": SOFT, "va": "top", "clip_on": False}
    base = low - 0.09 * (high - low)
    place.text(begin, base, day_and_month(first, short=True), ha="left", **words)
    place.text(end, base, day_and_month(last, short=True), ha="right", **words)


def _groups(
    place: Axes,
    units: Sequence[UnitSeen],
    sensors: Iterable[str],
    labels: Labels,
    scale: float,
    panel: str,
) -> None:
    """Draw every unit, filled with the habit, open without, and the means of both."""
    if not units:
        return
    _days(place, [unit.unit for unit in units], sensors, MEANS_ROOM)
    ends = _at(units[0].unit) - 0.7, _at(units[-1].unit) + 0.7
    means = []
    for with_, words, style in ((True, labels.with_, "-"), (False, labels.without, "--")):
        group = [unit.value * scale for unit in units if unit.with_ == with_]
        if group:
            mean = sum(group) / len(group)
            place.plot(ends, [mean, mean], style, color=INK, lw=1.6, zorder=2)
            means.append((mean, words))
    for unit in units:
        colour, shape = (TWO, "D") if unit.high else (ONE, "o")
        look: Any = {"mfc": colour if unit.with_ else PAPER, "mec": colour, "mew": 1.6}
        spot = (_at(unit.unit), unit.value * scale)
        key = f"{MARK}{unit.unit}/{panel}"
        _draw(place, *spot, shape, ms=6.6 if unit.high else 7.6, gid=key, zorder=4, **look)
    _mean_labels(place, ends[1], means, labels)


def _mean_labels(
    place: Axes, after: float, means: Sequence[tuple[float, str]], labels: Labels
) -> None:
    """Write each mean with its words beside its line, no two on one another."""
    low, high = place.get_ylim()
    digits, line = 1 if labels.unit == "mmol/L" else 0, 0.058 * (high - low)
    left, right = place.get_xlim()
    across = place.get_window_extent().width * 72 / place.figure.dpi
    beside = after + 6 * (right - left) / across
    look: Any = {"color": INK, "va": "top", "ha": "left", "clip_on": False}
    told = [
        (mean, wrap(words, LONGEST_WORDS, max_lines=2, placeholder="…"))
        for mean, words in sorted(means)
    ]
    tops = [mean + line * (len(lines) + 1) / 2 for mean, lines in told]
    if len(told) == 2:  # the upper one stands above the lower one
        tops[1] = max(tops[1], tops[0] + line * (len(told[1][1]) + 1.3))
    for (mean, lines), top in zip(told, tops, strict=True):
        place.text(beside, top, f"{mean:.{digits}f}", fontsize=15, weight="bold", **look)
        for nth, words in enumerate(lines, 1):
            place.text(beside, top - line * (nth + 0.15), words, fontsize=13, **look)


def _periods(
    place: Axes, periods: Sequence[PeriodSeen], sensors: Iterable[str], scale: float
) -> None:
    """Draw the periods: those of the change shaded, means as bars, units as dots."""
    _days(place, [periods[0].first, periods[-1].last], sensors, 4)
    low, high = place.get_ylim()
    thick = 0.022 * (high - low)
    middles: dict[int, list[tuple[float, float]]] = {}
    for one in periods:
        change = one.arm == "change"
        first, last = _at(one.first) - 0.5, _at(one.last) + 0.5
        if change:
            place.axvspan(first, last, color=LINE, alpha=0.45, lw=0, zorder=0.5)
        for unit in one.units:
            spot = (_at(unit.unit), unit.value * scale)
            key = f"{MARK}{unit.unit}/test"
            look: Any = {"mfc": SOFT if unit.counted else "none", "mec": SOFT, "mew": 0.9}
            _draw(place, *spot, "o", ms=4, gid=key, zorder=3, **look)
        if one.mean is not None:
            mean = one.mean * scale
            look = {"fc": ONE if change else PAPER, "ec": ONE if change else INK, "lw": 1.4}
            _bar(place, (first, last), mean, thick, look)
            middles.setdefault(one.pair, []).append(((first + last) / 2, mean))
    for pair in middles.values():
        place.plot(*zip(*pair, strict=True), color=SOFT, lw=1.1, zorder=2)


def _bar(
    place: Axes, ends: tuple[float, float], at: float, thick: float, look: dict[str, Any]
) -> None:
    from matplotlib.patches import Rectangle

    corner = (ends[0] + 0.15, at - thick / 2)
    place.add_patch(Rectangle(corner, ends[1] - ends[0] - 0.3, thick, zorder=4, **look))


def _showed(place: Axes, showed: Showed, usual: float | None) -> None:
    """Draw the difference of each pair, then their mean with its interval; 0 is as usual."""
    place.set_xlim(0, 100)
    if usual is None:
        return
    words: Any = {"fontsize": 13, "color": SOFT, "bbox": LABEL, "zorder": 2.5}
    up = showed.agreed > 0
    place.axhline(usual, color=INK, lw=1.4, zorder=1)
    place.text(100, usual, showed.none_told, ha="right", va="top" if up else "bottom", **words)
    place.axhline(usual + showed.agreed, color=INK, lw=1.2, ls=(0, (3, 3)), zorder=1)
    at, side = usual + showed.agreed, "bottom" if up else "top"
    place.text(100, at, showed.agreed_told, ha="right", va=side, **words)
    step = 40 / max(len(showed.each), 1)
    for nth, one in enumerate(showed.each):
        _draw(place, 5 + step * nth, usual + one, "o", ms=7, mfc=PAPER, mec=ONE, mew=1.6, zorder=3)
    if showed.difference is None:
        return
    at = 56 if showed.each else 24
    if showed.interval is not None:
        ends = [usual + end for end in showed.interval]
        place.plot([at, at], ends, color=ONE, lw=3.4, solid_capstyle="butt", zorder=4)
    _draw(place, at, usual + showed.difference, "o", ms=13, color=ONE, mew=0, zorder=5)
    place.text(
        at + 8,
        usual + showed.difference,
        showed.told,
        fontsize=19,
        color=INK,
        weight="bold",
        va="center",
        bbox=LABEL,
        zorder=2.6,
    )


def _draw(place: Axes, across: float, up: float, shape: str, **look: Any) -> None:
    place.plot([across], [up], shape, clip_on=False, **look)


def _at(day: str) -> float:
    """Return the day of a unit as a number; a meal stands at its hour."""
    hour = int(day[11:13]) / 24 - 0.5 if len(day) > 10 else 0.0
    return date.fromisoformat(day[:10]).toordinal() + hour
