"""Axes, places of dots, and what becomes of a figure in a page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.core.results.briefing import DayPicture
from miner.core.results.meals import MealComparison, MealPair, MealSide, Repeats
from miner.core.results.morning import DayReview, Noted
from miner.render.figures.day_picture import day_picture
from miner.render.figures.hypothesis import TALLEST, Difference, Dot, Row, difference, dots
from miner.render.figures.inline import Styles, inline
from miner.render.figures.meal_pairs import meal_pairs
from miner.render.figures.month import HIGHEST, LOWEST, month
from miner.render.figures.paper import (
    DARK,
    PALETTE,
    as_png,
    as_svg,
    levels,
    round_step,
    round_ticks,
)
from miner.rulebook import RuleBook
from miner.words.sentences import comparison_sentence

FINITE = st.floats(-1e4, 1e4, allow_nan=False)


def luminance(colour: str) -> float:
    """Relative luminance. Source: WCAG 2.1, definition of relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def day(name: str, **changes: object) -> DayPicture:
    known: dict[str, object] = {
        "day": name, "rest_day": False, "usable": True, "left_out": "", "sensor": "A",
        "start": 0, "end": 1440, "spread": (80.0, 90.0, 100.0, 110.0, 150.0), "wake": 95.0,
        "high": False, "meals": 3, "tags": 1, "unlogged_rises": 0,
    }  # fmt: skip
    return DayPicture(**(known | changes))  # type: ignore[arg-type]


@settings(derandomize=True, deadline=None)
@given(st.lists(FINITE, min_size=1, max_size=60), st.floats(0.01, 500))
def test_dots_never_lie_on_each_other_and_stand_as_low_as_they_can(
    places: list[float], width: float
) -> None:
    found = levels(places, width)
    pairs = list(zip(places, found, strict=True))
    for at, (place, level) in enumerate(pairs):
        for other, height in pairs[at + 1 :]:
            assert height != level or abs(place - other) >= width * (1 - 1e-6)
    # Greedy from the left: what stands on level k has a nearer one on every level below it.
    for place, level in pairs:
        for below in range(level):
            assert any(h == below and 0 <= place - p < width for p, h in pairs)


@settings(derandomize=True, deadline=None)
@given(FINITE, st.floats(0.001, 1e4), st.integers(3, 9))
def test_ticks_are_round_and_span_the_values(low: float, span: float, most: int) -> None:
    ticks = round_ticks(low, low + span, most)
    assert ticks[0] <= low + 1e-6
    assert ticks[-1] >= low + span - 1e-6
    assert len(ticks) <= most + 3
    lead = float(f"{round_step(span, most):.0e}".split("e")[0])
    assert lead in (1.0, 2.0, 5.0)


def test_equal_values_still_have_an_axis() -> None:
    assert round_ticks(100, 100) == [100, 101]


def test_the_palette_can_be_read_in_light_and_dark() -> None:
    # WCAG 2.1, 1.4.3: text 4.5 to 1; 1.4.11: parts of figures 3 to 1.
    for palette in (PALETTE, DARK):
        assert set(palette) == set(PALETTE)
        for name in ("ink", "soft", "one", "two"):
            assert contrast(palette[name], palette["paper"]) >= 4.5


def test_the_two_colours_differ_in_lightness_or_hue_for_every_kind_of_sight() -> None:
    # Vienot, Brettel & Mollon 1999, Color Res Appl 24:243: what remains of a colour without the
    # long-wave or the middle-wave cones (linear RGB; rows 1 and 2 become equal).
    def without(colour: str, weights: tuple[float, float]) -> tuple[float, float]:
        red, green, blue = (
            (int(colour[at : at + 2], 16) / 255) ** 2.2 for at in (1, 3, 5)
        )  # fmt: skip
        return weights[0] * red + weights[1] * green, blue

    for palette in (PALETTE, DARK):
        for weights in ((0.1124, 0.8876), (0.2928, 0.7072)):
            one, two = without(palette["one"], weights), without(palette["two"], weights)
            assert max(abs(a - b) for a, b in zip(one, two, strict=True)) > 0.2


def test_the_figure_of_the_days_has_one_scale_for_everyone() -> None:
    low = month([day("2026-03-02"), day("2026-03-03", high=True)], "mg/dL", 760, 400)
    high = month([day("2026-03-02", spread=(200.0, 250.0, 300.0, 350.0, 399.0))], "mg/dL", 760, 400)
    assert low.axes[0].get_ylim() == high.axes[0].get_ylim() == (LOWEST, HIGHEST)
    other = month([day("2026-03-02")], "mmol/L", 760, 400).axes[0].get_ylim()
    # 1 mmol/L of glucose is 18.0156 mg/dL.
    assert other == pytest.approx((LOWEST / 18.0156, HIGHEST / 18.0156))


def test_a_day_in_the_higher_quarter_is_told_by_shape_and_a_day_left_out_by_a_cross() -> None:
    def markers(one: DayPicture) -> set[str]:
        return {str(line.get_marker()) for line in month([one], "mg/dL", 760, 400).axes[0].lines}

    plain = markers(day("2026-03-02"))
    assert markers(day("2026-03-02", high=True)) - plain == {"D"}
    assert "x" in markers(day("2026-03-02", usable=False)) - plain
    assert "o" not in markers(day("2026-03-02", wake=None))


SIDES = ("meals with a walk after them", "other meals")


@pytest.mark.parametrize(
    ("minutes", "drawn"),
    [
        (range(-15, 121, 5), True),
        (range(-8, 120, 15), True),
        ([*range(-8, 40, 15), *range(82, 120, 15)], False),
        (range(20, 121, 5), False),
        (range(-15, 60, 5), False),
    ],
)
def test_a_curve_of_a_meal_is_drawn_where_it_is_whole(minutes: Sequence[int], drawn: bool) -> None:
    # A straight line stays one: its value at a minute is the minute.
    side = MealSide("2026-03-02T08:00", "breakfast", "oats", None, 20.0,
                    tuple((float(at), float(at)) for at in minutes))  # fmt: skip
    found = MealComparison(
        "A", "walk_after", "rise", "mg/dL", (MealPair(side, side, 0.0, "label", ()),),
        0, 0, 0.0, Repeats(0, None), 1, 1, 0,
    )  # fmt: skip
    place = meal_pairs(found, "rise", SIDES).axes[2]
    thick = [line for line in place.lines if line.get_linewidth() > 2]
    assert len(thick) == (2 if drawn else 0)
    assert ("no curve was recorded whole" in {text.get_text() for text in place.texts}) is not drawn
    for line in thick:
        at, above = (np.asarray(line.get_data()[k], dtype=float) for k in (0, 1))
        inside = ~np.isnan(above)
        assert above[inside] == pytest.approx(at[inside])
        assert at[inside].min() >= minutes[0] - 1e-9
        assert at[inside].max() <= minutes[-1] + 1e-9


@pytest.mark.parametrize("wide", [True, False])
def test_the_legend_of_the_pairs_names_the_habit_and_covers_nothing(wide: bool) -> None:
    curve = tuple((float(at), 100.0) for at in range(-15, 121, 5))
    side = MealSide("2026-03-02T08:00", "breakfast", "oats", None, 100.0, curve)
    found = MealComparison(
        "A", "walk_after", "rise", r"mg\/dL", (MealPair(side, side, 0.0, "label", ()),),
        0, 0, 0.0, Repeats(0, None), 1, 1, 0,
    )  # fmt: skip
    figure = meal_pairs(found, "rise", SIDES, wide=wide)
    legend, *panels = figure.axes
    told = [text.get_text() for text in legend.texts]
    assert told == ["with it: meals with a walk after them", "without it: other meals"]
    for panel in panels:
        assert panel.get_position().y1 < legend.get_position().y0
        assert not panel.texts
    long = ("meals with " + "very " * 20 + "long words", "other meals")
    cut = meal_pairs(found, "rise", long, wide=wide).axes[0].texts[0].get_text()
    assert cut.endswith("...")
    thick = [line for line in panels[1].lines if line.get_linewidth() > 2]
    shown = {line.get_color(): line.get_linestyle() for line in thick}
    assert {line.get_color(): line.get_linestyle() for line in legend.lines[::2]} == shown


def test_the_middle_curve_ends_where_fewer_than_half_of_the_curves_reach() -> None:
    def side(minutes: Sequence[int], above: float) -> MealSide:
        curve = tuple((float(at), above) for at in minutes)
        return MealSide("2026-03-02T08:00", "breakfast", "oats", None, 20.0, curve)

    low, high = side(range(-15, 116, 5), 0.0), side(range(-15, 121, 5), 50.0)
    pairs = tuple(MealPair(one, one, 0.0, "label", ()) for one in (low, low, high))
    found = MealComparison(
        "A", "walk_after", "rise", "mg/dL", pairs, 0, 0, 0.0, Repeats(0, None), 3, 3, 0
    )
    for line in meal_pairs(found, "rise", SIDES).axes[2].lines:
        if line.get_linewidth() > 2:
            at, above = (np.asarray(line.get_data()[k], dtype=float) for k in (0, 1))
            assert np.isnan(above[at == 120]).all()  # else it would jump from 0 to 50
            assert (above[at <= 115] == 0).all()


def test_the_words_of_meals_close_together_do_not_run_into_each_other() -> None:
    meals = [("06:40", "Pancakes"), ("08:30", "Coffee, black"), ("12:30", "Bean Soup"),
             ("14:30", "Tea and nuts"), ("14:50", "Chocolate cake")]  # fmt: skip
    lanes = tuple(
        Noted("meals", f"2026-03-02T{at}", f"2026-03-02T{at}", text, "meals.csv", 2, own=text)
        for at, text in meals
    )
    found = DayReview(
        client="A", date="2026-03-02", chosen="asked for", usable=True, left_out="",
        start="2026-03-02T06:00", end="2026-03-03T06:00", of_client=(), first=(), night="",
        numbers=(), rises=(), on_test=(), could_be_asked=(), cautions=(), curve=(), lanes=lanes,
        range=(70.0, 140.0),
    )  # fmt: skip
    figure = day_picture(found)
    figure.draw_without_rendering()
    words = [text for text in figure.axes[1].texts if text.get_text()]
    assert {"Coffee, black", "Chocolate cake"} <= {text.get_text() for text in words}
    boxes = sorted((text.get_window_extent().x0, text.get_window_extent().x1) for text in words)
    for (_, ends), (begins, _) in pairwise(boxes):
        assert ends <= begins


def test_many_equal_values_are_drawn_over_each_other_and_never_too_tall() -> None:
    def tall(many: int) -> float:
        row = Row("with", "with", tuple(Dot(f"d{k}", 0.0, False) for k in range(many)))
        return float(dots([row], "min", 760).get_figheight() * 72)

    # Heading, one dot, the scale, and at most the height given to a stack.
    assert tall(300) - tall(1) <= TALLEST
    assert tall(5) - tall(1) == pytest.approx(4 * 13.0 * 1.06)


def test_a_figure_in_a_page_has_no_style_of_its_own_and_its_marks_have_words() -> None:
    row = Row(
        "2 short nights", "with", (Dot("2026-03-02", 98.0, False), Dot("2026-03-03", 99.0, True))
    )
    styles = Styles()
    words = {"2026-03-02": 'Mon & "x"', "2026-03-03": "Tue"}
    svg = inline(as_svg(dots([row], "mg/dL", 700)), "a", "Dots", words, styles)
    root = ElementTree.fromstring(svg)  # noqa: S314 - drawn just now
    assert root.tag == "svg"
    assert "style" not in {name for item in root.iter() for name in item.attrib}
    marks = [item for item in root.iter("g") if item.get("class") == "mark"]
    assert {item.get("data-day"): item.get("aria-label") for item in marks} == words
    assert {title.text for item in marks for title in item.findall("title")} == set(words.values())
    ids = {item.get("id") for item in root.iter() if item.get("id")}
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', svg))
    assert used <= ids
    assert all(name.startswith("a-") for name in ids)
    assert {item.get("class") for item in root.iter()} & set(styles.names.values())
    assert not re.search("#[0-9a-f]{6}", styles.css())
    assert "2 short nights" in svg


def test_figures_are_the_same_to_the_byte() -> None:
    found = Difference(8.4, (0.8, 16.0), 5.0, 7.0, "mg/dL")
    assert as_svg(difference(found, 700)) == as_svg(difference(found, 700))
    assert as_png(difference(found, 700), 60) == as_png(difference(found, 700), 60)


def test_words_that_look_like_formulas_stay_words() -> None:
    row = Row("$\\alpha$ _ & <b>", "with", (Dot("2026-03-02", 98.0, False),))
    assert "$\\alpha$ _ &amp; &lt;b&gt;" in as_svg(dots([row], "mg/dL", 700))


def test_pairs_are_counted_whole_and_where_there_are_none_nothing_is_said_of_them(
    rules: RuleBook,
) -> None:
    def side(value: float) -> MealSide:
        return MealSide("2026-03-02T08:00", "breakfast", "oats", None, value)

    pairs = tuple(MealPair(side(one), side(20.0), one - 20.0, "label", ()) for one in (10.0, 20.0))
    found = MealComparison(
        "A", "walk_after", "rise", "mg/dL", pairs, 1, 0, -5.0, Repeats(0, None), 2, 2, 0
    )
    told = comparison_sentence(found, rules)
    assert "was lower with it in 1, higher in 0, the same in 1." in told
    none = replace(found, pairs=(), lower=0, middle_difference=None)
    assert comparison_sentence(none, rules).startswith("No similar meals with and without")
