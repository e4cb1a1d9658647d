"""Kept hypotheses on the days that did not suggest them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fresh_tables import event, gls, idea, kept, row_date, table_of, what
from scipy import stats
from statsmodels.stats.multitest import multipletests

from miner import rulebook
from miner.core.period import Period
from miner.core.results import Counts, Withheld
from miner.followup import following as judging
from miner.followup.following import Fresh, each_day, fresh
from miner.hypotheses.design import design
from miner.hypotheses.tested import whitened
from miner.ledger import Kept, Ledger, replay
from miner.stats.effects import independent

COUNTS = Counts(10, 0, 15, 0, 0)


@pytest.fixture(scope="module")
def rules():
    return rulebook.load()


def seen(difference, error=5.0, t=None, df=25, closed=None, stopped=False, counts=COUNTS):
    score = difference / error if t is None else t
    return Fresh(counts, 25, closed, stopped, difference, error, score, df, 5.0)


def test_only_days_after_the_suggestion_and_up_to_the_date_count(rules):
    table = table_of(rules)
    found = fresh(table, rules, idea(), row_date(table, 29), row_date(table, 69))
    assert found.units == 40
    assert found.counts.known + found.counts.unknown == 40
    changed = table.frame.copy()
    inside = (changed.index > row_date(table, 29)) & (changed.index <= row_date(table, 69))
    changed.loc[~inside, ["minutes_above", "wake_glucose"]] = 999.0
    other = fresh(
        replace(table, frame=changed), rules, idea(), row_date(table, 29), row_date(table, 69)
    )
    assert (other.difference, other.score_t) == (found.difference, found.score_t)


@pytest.mark.parametrize("world", ["independent", "persistent", "sensor_steps"])
def test_difference_and_error_against_the_formula(rules, world):
    # Generalised least squares from its matrix formula, dependence as fitted.
    table = table_of(rules, world=world, shift=1.0)
    after, until = row_date(table, 29), row_date(table, 71)
    found = fresh(table, rules, idea(), after, until)
    plan = design(table, rules, Period(row_date(table, 30), until))
    target = plan.target("minutes_above")
    fitted = whitened(plan, target.values, {}).dependence
    item = next(item for item in target.items if item.factor == "late_dinner")
    slope, error = gls(
        target.values, item.values, plan.nuisance[:, independent(plan.nuisance)], plan.times,
        fitted.phi, fitted.w,
    )  # fmt: skip
    assert found.difference == pytest.approx(slope)
    assert found.standard_error == pytest.approx(error)
    assert found.p(1) == pytest.approx(stats.t.sf(found.score_t, found.df))
    assert found.p(1) + found.p(-1) == pytest.approx(1)
    reach = stats.t.ppf(0.95, found.df) * error
    assert found.limits(0.05) == pytest.approx((slope - reach, slope + reach))


def test_a_habit_that_stopped_is_not_a_failed_idea(rules):
    table = table_of(rules)
    frame = table.frame
    frame.loc[frame.index > row_date(table, 29), "late_dinner"] = 0.0
    frame.loc[row_date(table, 40), "late_dinner"] = 1.0
    found = fresh(table, rules, idea(), row_date(table, 29), row_date(table, 69))
    assert judging.judge(kept(), found, []).status == "habit_stopped"


def test_a_habit_that_was_not_noted_has_not_stopped(rules):
    table = table_of(rules)
    table.frame.loc[table.frame.index > row_date(table, 29), "late_dinner"] = np.nan
    found = fresh(table, rules, idea(), row_date(table, 29), row_date(table, 69))
    told = judging.judge(kept(), found, [])
    assert (told.status, told.difference, told.p) == ("not_settled", None, None)
    gone = fresh(table, rules, idea("tag:nowhere"), row_date(table, 29), row_date(table, 69))
    assert judging.judge(kept(factor="tag:nowhere"), gone, []).status == "not_settled"


def test_no_new_day_settles_nothing(rules):
    table = table_of(rules, days=30)
    found = fresh(table, rules, idea(), row_date(table, 29), None)
    assert found.units == 0
    assert judging.judge(kept(), found, []).status == "not_settled"


@pytest.mark.parametrize(
    ("difference", "error", "status"),
    [
        (30, 5, "held_up"),
        (-30, 5, "did_not_hold"),
        (2, 5, "did_not_hold"),  # upper limit 2 + 1.71 x 5 = 10.5, below 20
        (15, 10, "not_settled"),  # p 0.07, upper limit 32
        (2, 20, "not_settled"),  # never a no from a large p alone
        (-40, 40, "not_settled"),  # upper limit 28
    ],
)
def test_verdicts_at_the_date(difference, error, status):
    assert judging.judge(kept(), seen(difference, error), []).status == status
    mirrored = kept(direction="down")
    assert judging.judge(mirrored, seen(-difference, error), []).status == status


def test_a_verdict_needs_size_and_order_to_point_one_way():
    assert judging.judge(kept(), seen(-1, 5, t=3.0), []).status != "held_up"


@pytest.mark.parametrize("others", [[], [0.001], [0.03, 1.0], [0.5, 0.9], [0.02, 0.02]])
def test_holm_over_what_was_followed_together(others):
    # statsmodels, multipletests(method="holm")
    found = seen(10, 4.5)
    told = judging.judge(kept(), found, others)
    adjusted = multipletests([found.p(1), *others], method="holm")[1][0]
    assert told.p_adjusted == pytest.approx(adjusted)
    assert (told.status == "held_up") == (adjusted <= 0.05)


def test_an_unread_companion_never_makes_a_verdict_easier():
    found = seen(10, 4.5)
    for other in (0.001, 0.02, 0.4, 0.9):
        alone = judging.judge(kept(), found, [other]).p_adjusted
        assert judging.judge(kept(), found, [1.0]).p_adjusted >= alone


def test_what_was_open_at_the_same_time_is_one_family():
    events = (
        event(1, "kept", **what(id="a")),
        event(2, "kept", **what(id="b")),
        event(3, "verdict", kept_entry=1, status="held_up", p=0.01),
        event(4, "kept", **what(id="c")),
        event(5, "kept", **what(id="d") | {"as": "adopt"}),
    )
    story = replay(Ledger(Path("x"), events, (), True))
    together = {
        item.id: [other.id for other in judging.followed_together(item, story)]
        for item in story.kept[:3]
    }
    assert together == {"a": ["a", "b"], "b": ["a", "b", "c"], "c": ["b", "c"]}
    assert judging.known_p(story.kept[0]) == 0.01
    assert judging.known_p(story.kept[1]) == 1.0


def test_the_every_day_reading_shares_the_level_and_tells_its_price():
    one, two = (judging.every_look(kept(), [("2026-04-20", seen(30, 7))], k) for k in (1, 2))
    assert (one.needed, two.needed) == (pytest.approx(20), pytest.approx(40))
    assert one.evidence == two.evidence
    assert one.units_one_look < one.units_every_look
    assert one.price_days == one.units_every_look - one.units_one_look
    other = judging.every_look(kept(direction="down"), [("2026-04-20", seen(30, 7))], 1)
    assert (other.reached, other.reached_on) == (False, None)
    assert other.evidence < 1 < one.evidence
    closed = seen(np.nan, np.nan, closed=Withheld("too few"))
    assert judging.every_look(kept(), [("2026-04-20", closed)], 1).reached is False
    assert judging.every_look(kept(), [], 1).evidence is None


def test_the_price_of_looks_at_meals_is_told_in_days():
    looks = [("2026-04-20", seen(30, 7))]
    by_day = judging.every_look(kept(), looks, 1)
    by_meal = judging.every_look(kept(unit_of="meal", a_day=3.0), looks, 1)
    assert by_meal.units_every_look == by_day.units_every_look
    assert by_meal.price_days == np.ceil(by_day.price_days / 3)
    # an entry that does not say how many a day, or a price beyond what can be told
    assert judging.every_look(kept(unit_of="meal"), looks, 1).price_days is None
    assert (
        judging.every_look(kept(expected=None, smallest_worth_it=0.01), looks, 1).price_days is None
    )


def test_what_was_clear_on_one_day_stays_clear():
    days = [("2026-04-18", seen(5, 7)), ("2026-04-19", seen(40, 7)), ("2026-04-20", seen(5, 7))]
    for upto, day in ((1, None), (2, "2026-04-19"), (3, "2026-04-19")):
        found = judging.every_look(kept(), days[:upto], 1)
        assert (found.reached, found.reached_on) == (day is not None, day)
    assert found.evidence < found.needed


def test_a_look_sees_what_the_records_of_that_day_hold(rules):
    table = table_of(rules, world="persistent", shift=1.0)
    after, until = row_date(table, 29), row_date(table, 60)
    looks = dict(each_day(table, rules, idea(), after, until, 14))
    assert list(looks) == [row_date(table, at) for at in range(43, 61)]
    for at in (43, 51, 60):
        parts = ("frame", "by_clock", "measures", "context")
        then = replace(table, **{name: getattr(table, name).iloc[: at + 1] for name in parts})
        found, now = fresh(then, rules, idea(), after, until), looks[row_date(table, at)]
        assert (now.units, now.df) == (found.units, found.df) == (at - 29, found.df)
        assert now.score_t == pytest.approx(found.score_t)


@pytest.mark.prove
def test_looking_every_week_where_nothing_is_true(rules):
    # Ville: at most 5 in 100 at whatever look; 80 diaries allow 5 + 3 SE = 12.
    hits = 0
    for seed in range(80):
        table = table_of(rules, days=110, seed=500 + seed, world="persistent")
        last = row_date(table, 27)
        hits += any(
            judging.every_look(
                kept(), [("", fresh(table, rules, idea(), last, row_date(table, until)))], 1
            ).reached
            for until in range(45, 110, 20)
        )  # fmt: skip
    assert hits <= 9


@pytest.mark.prove
def test_a_true_effect_holds_up_and_none_mostly_does_not(rules):
    def statuses(shift):
        return [
            judging.judge(
                kept(), fresh(table, rules, idea(), row_date(table, 27), row_date(table, 69)), []
            ).status
            for table in (table_of(rules, seed=900 + k, shift=shift) for k in range(40))
        ]  # fmt: skip

    assert statuses(1.5).count("held_up") >= 30
    # nominal 5 % of 40 is 2; 5 + 3 SE is 6
    assert statuses(0.0).count("held_up") <= 6


def test_sets_need_every_part(rules):
    table = table_of(rules)
    both = idea(factors=["late_dinner", "much_stress"], lag_days=[0, 0])
    found = fresh(table, rules, both, row_date(table, 5), row_date(table, 85))
    frame = table.frame.loc[row_date(table, 6) : row_date(table, 85)]
    together = (frame["late_dinner"] == 1) & (frame["much_stress"] == 1)
    assert found.counts.with_ == int(together.sum())


def test_kept_knows_its_direction():
    assert judging.sign(kept().what) == 1
    assert judging.sign(kept(direction="down").what) == -1
    assert isinstance(kept(), Kept)


# A kept dose is judged as a dose: the slope of the outcome on its amounts, of the same whitening.
def test_a_kept_dose_is_judged_as_a_dose(rules):
    table = table_of(rules, shift=0.0)
    rng = np.random.default_rng(3)
    clock = 20 + rng.normal(0, 1, len(table.frame))
    frame = table.frame.assign(minutes_above=table.frame["minutes_above"] + 30 * clock)
    measures = table.measures.assign(late_dinner=clock)
    own = replace(table, frame=frame, measures=measures)
    kept = idea(shape="dose")
    after, until = row_date(table, 29), row_date(table, 71)
    found = fresh(own, rules, kept, after, until)
    assert found.difference == pytest.approx(30, abs=12)
    assert found.p(1) < 0.01
    cut = fresh(own, rules, idea(), after, until)
    assert cut.difference != pytest.approx(found.difference, rel=0.2)
    none = replace(own, measures=measures * np.nan)
    closed = fresh(none, rules, kept, after, until)
    assert str(closed.closed.reason).startswith("it is not known as a number often enough")
    assert not closed.stopped


# What is too small to matter is asked of the kept client's own quarters.
def test_a_kept_dose_did_not_hold_where_its_quarters_would_not_matter(rules):
    item, narrow = (
        kept(smallest_worth_it=20.0),
        kept(
            smallest_worth_it=20.0, per={"amount": 1.0, "unit": "h", "towards": "more", "span": 4.0}
        ),
    )
    assert judging.judge(item, seen(0.0), []).status == "did_not_hold"
    assert judging.judge(narrow, seen(0.0), []).status == "not_settled"
