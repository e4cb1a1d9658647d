"""A dose in words and in a picture."""

import re
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.regression.linear_model as lm
from matplotlib.backends.backend_agg import FigureCanvasAgg
from scipy.stats import t as student

from miner import rulebook
from miner.core.results import Counts, Evidence, Per, Shape
from miner.render.drawn import NARROW
from miner.render.figures.hypothesis import Difference, Line, Point, difference, scatter
from miner.render.terminal import render
from miner.words.amounts import Amounts
from miner.words.pattern import sentence
from miner.words.sentences import each_more
from miner.words.teller import HypothesisTeller

RULES = rulebook.load()
HOUR = Per(1.0, "h", "less", 1.4)


@pytest.fixture
def dose(samples):
    return samples.hypothesis(shape=Shape.DOSE, per=HOUR, difference=6.1, interval=(1.2, 13.0))


def test_the_slope_comes_first_and_the_counts_of_the_cut_beside_it(dose):
    said = sentence(dose, RULES)
    assert said == (
        "Each hour less sleep came before higher waking glucose, by about 6 mg/dL. "
        "Waking glucose was high after 5 of 9 short nights and after 2 of 19 others."
    )
    assert sentence(replace(dose, difference=-6.1), RULES).startswith(
        "Each hour less sleep came before lower waking glucose, by about 6 mg/dL."
    )
    mmol = sentence(dose, RULES, amounts=Amounts("mmol/L"))
    assert mmol.startswith(
        "Each hour less sleep came before higher waking glucose, by about 0.3 mmol/L"
    )


def test_without_days_on_both_sides_no_counts_are_told(dose):
    bare = sentence(replace(dose, counts=Counts(0, 0, 28, 7, 2)), RULES)
    assert bare == "Each hour less sleep came before higher waking glucose, by about 6 mg/dL."


def test_its_size_says_what_it_is_for(dose):
    text = render(HypothesisTeller(RULES, Amounts()).parts(dose), 2000)
    assert "It was about 6 mg/dL higher for each hour less sleep (1 to 13)" in text
    exact = HypothesisTeller(RULES, Amounts()).exact(dose)
    assert "+6.1 mg/dL for each hour less sleep (+1.2 to +13.0)" in exact
    unsure = replace(dose, evidence=Evidence.CANNOT_TELL, unlikely_beyond=9.0)
    text = render(HypothesisTeller(RULES, Amounts()).parts(unsure), 2000)
    assert "More than about 9 mg/dL for each hour less sleep is unlikely." in text


@pytest.mark.parametrize("unit", ["day", "meal"])
def test_every_dose_is_one_short_sentence(dose, unit):
    seen = 0
    for name, rule in RULES.factors_of(unit).items():
        for outcome, target in RULES.outcomes_of(unit).items():
            if not rule.dose or target.window not in rule.lag:
                continue
            item = replace(
                dose,
                factors=(name,),
                outcome=outcome,
                unit=target.measure_unit,
                relation="same_day" if target.window in rule.same_time else "precedes",
            )
            first = re.split(r"(?<=[a-zL])\. ", sentence(item, RULES, unit))[0]
            assert first.startswith(rule.each[0].upper())
            assert len(first.split()) <= 25
            seen += 1
    assert seen > 20


def test_a_cut_is_for_nothing_more(samples):
    assert each_more(samples.hypothesis(), RULES) == ""


# ---- the picture: the line and the band of ordinary least squares (statsmodels)


def test_a_scatter_has_a_mark_a_unit_its_line_and_its_band():
    hours = np.linspace(5, 9, 20)
    off = np.tile([-4.0, 4.0, 4.0, -4.0], 5)
    points = [Point(f"day-{k}", h, 100 - 6 * (h - 7) + off[k], k < 5) for k, h in enumerate(hours)]
    fit = lm.OLS([p.value for p in points], np.column_stack([np.ones(20), hours])).fit()
    reach = student.ppf(0.975, 18)
    line = Line(float(fit.params[1]), float(reach * fit.bse[1]), float(reach))
    figure = scatter(points, line, ("sleep, h", "glucose, mg/dL"), 760)
    box = figure.axes[0]
    marks = [line for line in box.lines if line.get_gid()]
    assert len(marks) == 20
    assert [line.get_marker() for line in marks] == ["D"] * 5 + ["o"] * 15
    (drawn,) = [line for line in box.lines if line.get_linewidth() == 2.4]
    x, y = drawn.get_data()
    np.testing.assert_allclose(y, fit.predict(np.column_stack([np.ones(len(x)), x])))
    (band,) = box.collections
    drawn = band.get_paths()[0].vertices
    table = fit.get_prediction(np.column_stack([np.ones(len(x)), x])).summary_frame(alpha=0.05)
    for at, low, high in zip(x, table["mean_ci_lower"], table["mean_ci_upper"], strict=True):
        ends = drawn[np.isclose(drawn[:, 0], at), 1]
        assert (ends.min(), ends.max()) == pytest.approx((low, high))
    assert box.get_ylim()[0] <= drawn[:, 1].min() < drawn[:, 1].max() <= box.get_ylim()[1]


# Under the difference stands what it is for, whole on the narrowest sheet.
@pytest.mark.parametrize("unit", ["day", "meal"])
def test_what_a_difference_is_for_fits_the_narrow_sheet(unit):
    for rule in RULES.factors_of(unit).values():
        if rule.dose:
            figure = difference(Difference(6.0, (1.0, 11.0), 3.0, None, "mg/dL", rule.each), NARROW)
            (text,) = figure.texts
            box = text.get_window_extent(FigureCanvasAgg(figure).get_renderer())
            assert f"for {rule.each}" in text.get_text()
            assert box.width < figure.bbox.width
            assert box.y1 < figure.axes[0].get_tightbbox().y0 + 2


def test_a_line_without_an_interval_has_no_band():
    points = [Point("a", 5.0, 100.0, False), Point("b", 6.0, 94.0, False)]
    figure = scatter(points, Line(-6.0), ("sleep, h", "glucose, mg/dL"), 350)
    low, high = figure.axes[0].collections[0].get_datalim(figure.axes[0].transData).intervaly
    assert (low, high) == pytest.approx((94.0, 100.0))
