"""Short, middle and long tests: what their arms differ by, and what each is promised to find."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from fresh_tables import idea
from hypothesis import given, settings
from hypothesis import strategies as st

from miner import rulebook
from miner.core.results.lengths import Contrast
from miner.followup.lengths import (
    ENOUGH,
    WEEKS,
    contrast_of,
    lengths_of,
    without_habit,
)
from miner.followup.planning import MIN_PAIRS, Wish
from miner.followup.sizes import (
    Scatter,
    Size,
    complete_share,
    detectable_by,
    sized,
    spread_of,
)
from miner.stats.power import pairs_power

RULES = rulebook.load()
START = date(2026, 7, 6)
WISH = Wish(START)


def of(factor, **more):
    rule = RULES.factor(factor)
    return idea(factor, lag_days=[rule.lag["day"]], expected=9.0, **more), rule


def offered(factor, scatter, wish=WISH, changes=(), **more):
    kept, rule = of(factor, **more)
    return lengths_of(kept, rule, scatter, wish, sensor_changes=changes)


def test_what_ends_on_ten_of_39_nights_moves_the_average_by_a_quarter():
    # method.md, section 3: 9 mg/dL x 10 / 39
    found = contrast_of(*of("short_sleep", **{"with": 10, "without": 29}))
    assert found.size == pytest.approx(2.3, abs=0.01)
    assert (found.difference, found.of_claim) == (9.0, True)
    assert (found.with_, found.without, found.asks) == (10, 29, None)
    of_dinners = contrast_of(*of("short_sleep", **{"with": 10, "without": 29}), (3, 3))
    assert (of_dinners.size, of_dinners.with_, of_dinners.without) == (4.5, 3, 3)


def test_what_is_brought_about_changes_the_units_that_lack_it():
    found = contrast_of(*of("walk_after_dinner", **{"with": 10, "without": 30}))
    assert found.size == pytest.approx(9 * 30 / 40)


def test_of_a_dose_every_unit_is_asked_the_same():
    # 12 mg/dL an hour less sleep, 45 minutes more of it each night
    per = {"amount": 1.0, "unit": "h", "span": 1.5, "towards": "less"}
    kept, rule = of("short_sleep", shape="dose", per=per, **{"with": 2, "without": 37})
    found = contrast_of(kept.model_copy(update={"expected": 12.0}), rule)
    assert found.size == pytest.approx(9)
    assert (found.asks, found.amount, found.with_) == (0.75, 1.0, None)


def test_of_a_hint_nothing_is_expected_but_what_is_worth_acting_on():
    kept, rule = of("short_sleep", smallest_worth_it=5.0, **{"with": 20, "without": 20})
    found = contrast_of(kept.model_copy(update={"expected": None}), rule)
    assert (found.size, found.difference, found.of_claim) == (2.5, 5.0, False)


def test_a_habit_of_which_nothing_is_known_moves_nothing():
    assert contrast_of(*of("short_sleep", **{"with": 0, "without": 0})).size == 0


@pytest.mark.parametrize(("days", "dropped"), [(1, 0), (2, 1), (3, 0)])
def test_the_share_of_whole_pairs_is_that_of_drawn_days(days, dropped):
    known = np.random.default_rng(5).random((200_000, 2, days - dropped)) < 0.8
    seen = known.any(axis=2).all(axis=1).mean()
    assert complete_share(Size(days, dropped, 6, 1.0, 0.8)) == pytest.approx(seen, abs=0.003)


def test_under_the_change_the_habit_adds_nothing_to_the_scatter():
    # usual days: SD 10 and 20 more on half of them, variance 200; days of the change: 100
    rng, runs = np.random.default_rng(6), 100_000
    usual = 10 * rng.normal(size=runs) + 20 * (rng.random(runs) < 0.5)
    change = 10 * rng.normal(size=runs)
    scatter = Scatter(np.sqrt(200), 0.0, 0.0)
    own = without_habit(scatter, Contrast(10.0, 20.0, of_claim=True, with_=30, without=30))
    assert own.habit_variance == 100
    assert spread_of(own, 1, 0) == pytest.approx((change - usual).std(), rel=0.01)
    assert spread_of(scatter, 1, 0) == pytest.approx(20)
    for contrast in (
        Contrast(9.0, 12.0, of_claim=True, asks=0.75, amount=1.0),
        Contrast(0.0, 20.0, of_claim=True, with_=0, without=30),
    ):
        assert without_habit(scatter, contrast) is scatter
    # a difference larger than the scatter allows takes no more than one arm's part
    far = replace(scatter, habit_variance=1e9)
    assert spread_of(far, 1, 0) == pytest.approx(np.sqrt(200))


def test_power_is_over_the_pairs_that_will_be_whole():
    scatter = Scatter(10.0, 0.0, 0.0, known=0.9)
    short = offered("late_dinner", scatter, **{"with": 30, "without": 10}).lengths[0]
    assert (short.name, short.pairs, short.period_days) == ("short", 13, 1)
    size = sized(
        without_habit(scatter, contrast_of(*of("late_dinner", **{"with": 30, "without": 10}))),
        0,
        13,
    )
    rng = np.random.default_rng(9)
    whole = (rng.random((20_000, 13, 2)) < 0.9).all(axis=2).sum(axis=1)
    powers = np.array([0.0, *(pairs_power(9 * 0.75, size.spread, n) for n in range(1, 14))])
    assert short.power == pytest.approx(powers[whole].mean(), abs=0.005)


@pytest.mark.parametrize("known", [1.0, 0.95, 0.9])
def test_what_is_found_80_times_in_100_is_found_so_often_by_drawn_pairs(known):
    size = Size(1, 0, 13, 10.0, known)
    finds = detectable_by(size)
    rng = np.random.default_rng(12)
    whole = (rng.random((20_000, 13, 2)) < known).all(axis=2).sum(axis=1)
    powers = np.array([0.0, *(pairs_power(finds, 10.0, n) for n in range(1, 14))])
    assert powers[whole].mean() == pytest.approx(0.8, abs=0.01)


def test_a_test_that_loses_its_pairs_finds_nothing_so_often():
    # six pairs reject in one order of 64 to either side, five in none: all six must be complete
    assert detectable_by(Size(2, 1, 6, 10.0, 0.95)) is None
    assert detectable_by(Size(2, 1, 6, 10.0, 1.0)) is not None


def test_the_default_is_the_shortest_that_finds_it_often_enough():
    many = {"with": 36, "without": 4}
    steady, loud = Scatter(6.0, 0.0, 0.0), Scatter(12.0, 0.0, 0.0)
    for scatter, name in ((steady, "short"), (loud, "middle"), (Scatter(60.0, 0, 0), None)):
        found = offered("late_dinner", scatter, **many)
        first = next((one.name for one in found.lengths if one.power >= ENOUGH), None)
        assert found.default == first == name


def test_a_test_of_more_days_a_period_takes_longer():
    found = offered("late_dinner", Scatter(10.0, 0, 0), **{"with": 20, "without": 20})
    slow = offered("short_sleep", Scatter(10.0, 0, 0), **{"with": 20, "without": 20})
    assert {one.period_days for one in found.lengths} == {1}
    assert {one.period_days for one in slow.lengths} == {2}
    for one, other in zip(found.lengths, slow.lengths, strict=True):
        assert one.pairs > other.pairs


@settings(deadline=None, max_examples=25)
@given(
    with_=st.integers(0, 60),
    without=st.integers(0, 60),
    sd=st.floats(0.5, 80),
    phi=st.floats(0, 0.9),
    w=st.floats(0, 1),
    known=st.floats(0.3, 1),
    carry_over=st.integers(0, 9),
    changes=st.lists(st.integers(-20, 130), max_size=6),
    sensor_days=st.integers(5, 30),
)
def test_no_length_is_longer_than_it_says_and_no_default_errs(
    with_, without, sd, phi, w, known, carry_over, changes, sensor_days
):
    kept, rule = of("late_dinner", **{"with": with_, "without": without})
    rule = rule.model_copy(update={"carry_over_days": carry_over})
    found = lengths_of(
        kept,
        rule,
        Scatter(sd, phi, w, known=known),
        Wish(START, sensor_days=sensor_days),
        sensor_changes=[START + timedelta(days=day) for day in changes],
    )
    names = [one.name for one in found.lengths]
    assert names == [name for name in WEEKS if name in names]
    assert found.default in (None, *names)
    for one in found.lengths:
        assert one.weeks <= one.at_most == WEEKS[one.name]
        assert one.pairs >= MIN_PAIRS
        assert 2 * one.pairs * one.period_days <= 7 * one.weeks
        assert one.period_days == carry_over + 1
        assert 0 <= one.power <= 1
        assert one.finds is None or one.finds > 0
        last = date.fromisoformat(one.last_day)
        assert (last - START).days >= 7 * (one.weeks - 1)
