from math import sqrt

import pytest
from fresh_tables import idea
from scipy.stats import nct
from scipy.stats import t as student

from miner.followup.keeping import MAX_DAYS, MIN_DAYS, at_hand, power_on, reading_days

PER = {"amount": 1.0, "unit": "h", "towards": "more", "span": 4.0}


def kept(**more):
    told = {"without": 28, "degrees_of_freedom": 35, "t_at_worth": 1.0, "a_day": 1.0}
    return idea(**told | more)


# What is looked for is what is expected of a claim, never less than what is worth acting on; of a
# dose for its own amount.
@pytest.mark.parametrize(
    ("expected", "per", "size"),
    [(40.0, None, 40.0), (-40.0, None, 40.0), (3.0, None, 20.0), (None, None, 20.0),
     (None, PER, 5.0), (7.0, PER, 7.0)],
)  # fmt: skip
def test_what_is_looked_for(expected, per, size):
    assert kept(expected=expected, per=per).sought == size


# The t grows with the size looked for: 40 min is twice the 20 that are worth it.
def test_the_units_at_hand_speak_of_what_is_looked_for():
    hand = at_hand(kept())
    assert (hand.t, hand.units, hand.rank, hand.with_, hand.without) == (2.0, 40, 4, 12, 28)
    dose = at_hand(kept(shape="dose"))
    assert (dose.with_, dose.without) == (20, 20)


@pytest.mark.parametrize("gone", ["t_at_worth", "units", "degrees_of_freedom", "with"])
def test_an_entry_that_does_not_hold_it_promises_nothing(gone):
    entry = kept(**{gone: None, "without": None})
    assert at_hand(entry) is None
    assert power_on(entry, 60, 1) is None
    assert reading_days(entry, 1) == MAX_DAYS


# The noncentral t (scipy): a habit known on every day and so common that its count hardly matters.
def test_the_power_on_a_date_is_that_of_a_one_sided_test():
    entry = kept(**{"with": 20, "without": 20, "expected": None, "t_at_worth": 1.4})
    df = 80 - 8 - 1
    for together, level in ((1, 0.05), (2, 0.025)):
        answer = nct.sf(student.ppf(1 - level, df), df, 1.4 * sqrt(2))
        assert power_on(entry, 80, together) == pytest.approx(answer, abs=0.01)


# Half as many usable days take twice as long; more ideas at once longer; never outside 14 to 120.
def test_the_date_is_the_first_that_finds_it_80_times_in_100():
    days = reading_days(kept(), 1)
    assert MIN_DAYS < days < MAX_DAYS
    assert power_on(kept(), days, 1) >= 0.8 > power_on(kept(), days - 1, 1)
    one, half = (reading_days(kept(t_at_worth=2.2, a_day=a), 1) for a in (1.0, 0.5))
    assert half == pytest.approx(2 * one, abs=1)
    assert days < reading_days(kept(), 3) <= MAX_DAYS
    assert reading_days(kept(t_at_worth=8.0, shape="dose"), 1) == MIN_DAYS
    assert reading_days(kept(t_at_worth=0.1), 1) == MAX_DAYS
