"""The figures of a page: each drawn wide and narrow, with the words of every mark."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from miner.core.files import make_folder, write_whole
from miner.core.results import Hypothesis, Shape
from miner.core.results.briefing import Briefing, DayPicture
from miner.core.results.why import UnitBehind, Why
from miner.render.figures.follow_picture import Labels, Showed, follow_picture
from miner.render.figures.hypothesis import (
    Difference,
    Dot,
    Groups,
    Line,
    Point,
    Row,
    difference,
    dots,
    lineup,
    scatter,
)
from miner.render.figures.inline import Styles, inline
from miner.render.figures.meal_pairs import meal_pairs
from miner.render.figures.month import LOWEST, TOP, month
from miner.render.figures.paper import as_png, as_svg
from miner.rulebook import RuleBook
from miner.words.amounts import MG_DL_PER_MMOL_L
from miner.words.follow import group_words, kept_title
from miner.words.safe import clean
from miner.words.teller import Teller
from miner.words.wording import capital, day_name, say

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from miner.words.followed import Followed

WIDE, NARROW = 560, 330
MANY_DAYS = 50
# The most dots of a figure, and the size of each in points.
DOT_SIZES = ((60, 13.0), (180, 9.5))
SMALLEST_DOT = 6.5


@dataclass(frozen=True, slots=True)
class Drawn:
    """One figure for wide and for narrow places."""

    wide: Markup
    narrow: Markup


@dataclass(frozen=True, slots=True)
class Drawing:
    """A figure to be drawn.

    Attributes:
        name: unlike that of any other figure of the page.
        label: what it shows, for those who cannot see it.
        draw: whether it is for a wide place -> the figure.
        marks: for each mark of it what it is, by its key.
    """

    name: str
    label: str
    draw: Callable[[bool], Figure]
    marks: Mapping[str, str] = field(default_factory=dict)

    def both(self, styles: Styles) -> Drawn:
        """Return it drawn for wide and for narrow places, its looks put among those of the page."""
        wide, narrow = (as_svg(self.draw(is_wide)) for is_wide in (True, False))
        return Drawn(
            inline(wide, f"{self.name}-w", self.label, self.marks, styles),
            inline(narrow, f"{self.name}-n", self.label, self.marks, styles),
        )


@dataclass(frozen=True, slots=True)
class Studio:
    """Makes the figures of what is told of one client."""

    teller: Teller

    @property
    def month_width(self) -> int:
        """Width in points: a long record has the whole page, its key below."""
        return WIDE if len(self.teller.brief.days) <= MANY_DAYS else 880

    def month(self) -> Drawing:
        """Return the record as a picture."""
        days, unit = self.teller.brief.days, self.teller.brief.display_unit
        wide, narrow = (self.month_width, 340), (NARROW, 320)
        return Drawing(
            "month",
            "Every day in order: its spread of readings and its value at waking.",
            lambda is_wide: month(days, unit, *(wide if is_wide else narrow)),
            {f"{day.day}/month": self.told(day) for day in days},
        )

    @property
    def beyond(self) -> bool:
        """Whether a day's spread or its value at waking lies beyond the one scale."""
        days = self.teller.brief.days
        drawn = [value for day in days for value in (*(day.spread or ()), day.wake) if value]
        return any(not LOWEST <= value <= TOP for value in drawn)

    def dots(self, item: Hypothesis) -> Drawing | None:
        """Return every unit behind a hypothesis, or None without any: of a dose a scatter."""
        return self.scatter(item) if item.shape is Shape.DOSE else self.in_rows(item)

    def in_rows(self, item: Hypothesis) -> Drawing | None:
        """Return every unit behind a hypothesis in rows, or None without any."""
        rows = self.rows(item)
        if not any(row.dots for row in rows):
            return None
        label, unit = self.teller.label(item), self.teller.amounts.unit(item.unit)
        size = dot_size(sum(len(row.dots) for row in rows))
        return Drawing(
            f"dots-{item.id}",
            f"{capital(label)}, a mark a {self.teller.outcome(item).units_one}.",
            lambda wide: dots(rows, f"{label}, {unit}", WIDE if wide else NARROW, size),
            {
                dot.key: f"{_when(dot.key)}: {label} {_number(dot.value, unit)}"
                for row in rows
                for dot in row.dots
            },
        )

    def scatter(self, item: Hypothesis) -> Drawing | None:
        """Return the units on which a dose is known, with its line, or None without any."""
        why, per = self._behind(item), item.per
        points, unit = [], per.unit if per else ""
        for one in () if why is None else why.units:
            amount = one.factors[0].measure
            if one.outcome is not None and amount is not None and _kind(one):
                value = self.shown(one.outcome, item.unit)
                points.append(Point(one.unit, amount, value, one.high == 1.0))
        if not points or per is None or item.difference is None:
            return None
        label, shown = self.teller.label(item), self.teller.amounts.unit(item.unit)
        marks = {
            p.key: f"{_when(p.key)}: {p.amount:.3g} {unit}, {label} {_number(p.value, shown)}"
            for p in points
        }
        sign = (-1.0 if per.towards == "less" else 1.0) / per.amount
        slope = sign * self.shown(item.difference, item.unit)
        half = reach = 0.0
        if item.interval and item.standard_error:
            half = self.shown((item.interval[1] - item.interval[0]) / 2, item.unit) / per.amount
            reach = (item.interval[1] - item.interval[0]) / 2 / item.standard_error
        line = Line(slope, half, reach)
        labels = (f"{self.teller.measure(item)}, {unit}", f"{label}, {shown}")
        size = dot_size(len(points))
        return Drawing(
            f"dots-{item.id}",
            f"{capital(label)} by {self.teller.measure(item)}, with the fitted line.",
            lambda wide: scatter(points, line, labels, WIDE if wide else NARROW, size * 0.85),
            marks,
        )

    def difference(self, item: Hypothesis) -> Drawing | None:
        """Return the difference of a hypothesis with its interval, or None where it has none."""
        found = self.numbers(item)
        if found is None:
            return None
        return Drawing(
            f"difference-{item.id}",
            "The difference, its interval, and what is ordinary.",
            lambda wide: difference(found, WIDE if wide else NARROW),
        )

    def lineup(self, item: Hypothesis) -> Drawing | None:
        """Return the recorded dots among imitations, or None where none were drawn."""
        panels = self.panels(item)
        if not panels:
            return None
        return Drawing(
            f"lineup-{item.id}",
            "Twenty panels of dots, one of them recorded.",
            lambda wide: lineup(panels, 800 if wide else NARROW, 5 if wide else 2),
        )

    def pairs(self, item: Hypothesis) -> Drawing | None:
        """Return similar meals with and without a habit, side by side, and their curves."""
        found, unit = self.teller.brief.pairs.get(item.id), self.teller.brief.display_unit
        if found is None:
            return None
        label, factor = self.teller.label(item), self.teller.factors(item)[0]
        sides = (factor.with_many, factor.without_many)
        return Drawing(
            f"pairs-{item.id}",
            f"{capital(label)} of similar meals without and with it, in pairs; their curves.",
            lambda wide: meal_pairs(found, label, sides, unit, wide=wide),
        )

    def _behind(self, item: Hypothesis) -> Why | None:
        """Return the units behind a hypothesis; a question that waits for its days has none.

        What the search found of the same habit has the same ID, and days of its own.
        """
        waits = item.family == "fixed" and item.difference is None
        return None if waits else self.teller.brief.whys.get(item.id)

    def rows(self, item: Hypothesis) -> list[Row]:
        """Return the rows of dots of a hypothesis."""
        why = self._behind(item)
        units = [] if why is None else [u for u in why.units if u.outcome is not None]
        factors, outcome = self.teller.factors(item), self.teller.outcome(item)
        many = outcome.units_many
        one = len(factors) == 1
        with_ = clean(factors[0].with_many, 40) if one else f"{many} with all of them"
        without = clean(factors[0].without_many, 40) if one else f"other {many}"
        found = []
        for kind, words in (("with", with_), ("without", without), ("unknown", "not known")):
            row = tuple(self._dot(unit, item) for unit in units if _kind(unit) == kind)
            if row:
                found.append(Row(f"{len(row)} {words}", kind, row))
        return found

    def panels(self, item: Hypothesis) -> list[Groups]:
        """Return with and without of every panel of a line-up."""
        why, found = self._behind(item), self.teller.brief.lineups.get(item.id)
        if why is None or found is None:
            return []
        kinds = {unit.unit: _kind(unit) for unit in why.units}
        order = [kinds.get(name, "") for name in found.units]

        def group(panel: tuple[float | None, ...], kind: str) -> tuple[float, ...]:
            pairs = zip(order, panel, strict=True)
            return tuple(
                self.shown(value, item.unit)
                for k, value in pairs
                if k == kind and value is not None
            )

        return [(group(panel, "with"), group(panel, "without")) for panel in found.panels]

    def numbers(self, item: Hypothesis) -> Difference | None:
        """Return the difference of a hypothesis in the unit shown."""
        if item.difference is None:
            return None
        summary, ends = self.teller.summary(item), item.interval
        low, high = (self.shown(end, item.unit) for end in ends or (0.0, 0.0))
        unit_sd = summary.ordinary_wobble if summary else None
        return Difference(
            self.shown(item.difference, item.unit),
            None if ends is None else (low, high),
            self.shown(self.teller.outcome(item).smallest_worth_it / item.span, item.unit),
            None if unit_sd is None or item.shape is Shape.DOSE else self.shown(unit_sd, item.unit),
            self.teller.amounts.unit(item.unit),
            self.teller.each_more(item),
        )

    def shown(self, value: float, unit: str) -> float:
        """Return a number in the unit shown."""
        return value if self.teller.amounts.unit(unit) == unit else value / MG_DL_PER_MMOL_L

    def told(self, day: DayPicture) -> str:
        """Return what is said of one day."""
        amounts, unit = self.teller.amounts, self.teller.brief.display_unit
        parts = [day_name(day.day)]
        if not day.usable:
            parts.append("left out")
        elif day.spread is not None:
            middle, low, high = (amounts.level(day.spread[k], "mg/dL") for k in (2, 0, 4))
            parts.append(f"middle {middle}, most from {low} to {high} {unit}")
        if day.wake is not None and day.usable:
            parts.append(f"at waking {amounts.level(day.wake, 'mg/dL')}")
        if day.high and day.usable:
            parts.append("high")
        return ", ".join(parts)

    def _dot(self, unit: UnitBehind, item: Hypothesis) -> Dot:
        return Dot(unit.unit, self.shown(unit.outcome or 0.0, item.unit), unit.high == 1.0)


def follow_drawing(told: Followed) -> Drawing | None:
    """Return before, the test or the new units, and what they showed; None before a verdict."""
    item, rules, amounts = told.item, told.rules, told.amounts
    picture, test, unit = item.picture, item.test, amounts.unit(item.unit)
    if picture is None or told.calm or not picture.units:
        return None
    scale = 1.0 if unit == item.unit else 1 / MG_DL_PER_MMOL_L
    found, pairs = (test, test.pairs) if told.tested and test is not None else (item, ())
    size, key = told.looked_for()
    difference, interval = found.difference, found.interval
    showed = Showed(
        None if difference is None else difference * scale,
        None if interval is None else (interval[0] * scale, interval[1] * scale),
        tuple(one.difference * scale for one in pairs if one.difference is not None),
        size * scale,
        "" if difference is None else amounts.rounded(difference, item.unit),
        say(rules, "follow", "line_none"),
        say(rules, "follow", key, size=amounts.level(abs(size), item.unit)),
    )
    units = f"{item.unit_of}s"
    middle = "panel_test" if picture.periods else "panel_new"
    panels = [say(rules, "follow", name, units=units) for name in ("panel_before", middle)]
    labels = Labels(
        (panels[0], panels[1], say(rules, "follow", "panel_showed")),
        *group_words(item, rules),
        unit,
    )
    title = kept_title(item, rules)
    return Drawing(
        f"follow-{item.id}",
        say(rules, "follow", "picture", title=clean(title, 200), units=units),
        lambda wide: follow_picture(picture, showed, labels, scale, wide=wide),
        {
            f"{one.unit}/{panel}": f"{_when(one.unit)}: {_number(one.value * scale, unit)}"
            for panel, seen in (
                ("before", picture.before),
                ("new", picture.new),
                ("test", [u for period in picture.periods for u in period.units]),
            )
            for one in seen
        },
    )


def dot_size(many: int) -> float:
    """Return the size of a dot in points: the smaller, the more there are."""
    return next((points for most, points in DOT_SIZES if many <= most), SMALLEST_DOT)


def _number(value: float, unit: str) -> str:
    return f"{value:.{1 if unit == 'mmol/L' else 0}f} {unit}"


def _kind(unit: UnitBehind) -> str:
    if unit.with_factor is None:
        return "unknown" if not unit.reason or unit.used else ""
    return ("with" if unit.with_factor else "without") if unit.used else ""


def _when(key: str) -> str:
    """Return the words of a day, or of a meal with the time it began."""
    return f"{day_name(key)}, {key[11:16]}" if len(key) > 10 else day_name(key)


def write_figures(
    brief: Briefing, rules: RuleBook, include: Sequence[str], folder: Path
) -> list[Path]:
    """Write every figure as SVG and as PNG at 200 dots an inch; return the files.

    Args:
        brief: what is known of the client.
        rules: the rule books, for the words.
        include: the hypotheses chosen to be shown, by ID.
        folder: made where it is not there.

    Raises:
        OSError: the folder cannot be written.
    """
    make_folder(folder)
    written = []
    for drawing in _figures(Teller(brief, rules, tuple(include))):
        figure, name = drawing.draw(True), "days" if drawing.name == "month" else drawing.name
        for ending, content in ((".svg", as_svg(figure).encode()), (".png", as_png(figure))):
            path = folder / f"{name}{ending}"
            write_whole(path, content)
            written.append(path)
    return written


def _figures(teller: Teller) -> Iterator[Drawing]:
    if teller.brief.days:
        yield Studio(teller).month()
    for one in teller.each():
        of = Studio(one)
        for item in one.chosen():
            found = (of.in_rows(item), of.difference(item), of.pairs(item), of.lineup(item))
            yield from filter(None, found)
