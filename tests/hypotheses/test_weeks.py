from dataclasses import replace

import numpy as np
from small_tables import day_table, meal_table

from miner.hypotheses.error_rate import moved, weeks_of


def _table(days=30, **options):
    rng = np.random.default_rng(4)
    factors = {f"tag:{k}": rng.permutation(np.arange(days) % 3 == 0) for k in range(4)}
    factors["tag:0"] = np.arange(days) % 7 == 2
    return day_table({"day_mean": rng.normal(100, 5, days)}, factors, **options)


# A naive walk over the days: every habit of a day is that of the same weekday of another week, the
# weeks taken as a ring, or unknown where that day is not in the record.
def test_every_habit_is_that_of_the_same_weekday_so_many_weeks_on():
    numbers = np.delete(np.arange(31), [4, 20])
    table = _table(29, numbers=numbers)
    days = table.frame["day_number"].to_numpy()
    first, weeks = days[0], 5
    values = {name: dict(zip(days, table.frame[name], strict=True)) for name in table.factors}
    seen = set()
    for seed in range(20):
        month = moved(table, weeks_of(table), np.random.default_rng(seed))
        for name in table.factors:
            fits = []
            for shift in range(1, weeks):
                met = [first + (day - first + 7 * shift) % (7 * weeks) for day in days]
                fits.append([values[name].get(day, np.nan) for day in met])
            own = month.frame[name].to_numpy()
            matching = [np.array_equal(own, fit, equal_nan=True) for fit in fits]
            assert any(matching)
            seen.add((name, matching.index(True)))
            np.testing.assert_array_equal(month.measures[name], own * 10)
    assert len(seen) > 10


# What keeps to a weekday still does, and what is known of the outcome is untouched.
def test_weekdays_and_outcomes_stay():
    table = _table(35)
    month = moved(table, weeks_of(table), np.random.default_rng(0))
    assert month.frame["tag:0"].to_numpy().tolist() == table.frame["tag:0"].to_numpy().tolist()
    assert month.frame["day_mean"].equals(table.frame["day_mean"])
    assert month.by_clock.equals(table.by_clock)
    assert not month.frame["tag:1"].equals(table.frame["tag:1"])
    assert table.frame["tag:1"].equals(_table(35).frame["tag:1"])


# A tag is no measure: it is moved all the same.
def test_a_habit_without_a_measure_is_moved():
    table = _table(35)
    bare = replace(table, measures=table.measures[["tag:1"]])
    one, other = (moved(own, weeks_of(own), np.random.default_rng(3)) for own in (table, bare))
    assert one.frame.equals(other.frame)
    assert list(other.measures) == ["tag:1"]


# A meal meets the same meal of the day weeks on: the second of a kind the second.
def test_a_meal_meets_the_same_meal_of_another_week():
    table = meal_table(21, per_day=3)
    weeks = weeks_of(table)
    assert len(weeks) == 2
    frame = table.frame
    order = frame.groupby(["day_number", "meal"]).cumcount().to_numpy()
    for shift, source in enumerate(weeks, start=1):
        known = source >= 0
        gone = (frame["day_number"].to_numpy()[source] - frame["day_number"].to_numpy())[known]
        assert set(np.unique(gone % 21)) == {7 * shift}
        meals = frame["meal"].to_numpy()
        assert (meals[source] == meals)[known].all()
        assert (order[source] == order)[known].all()


def test_a_record_without_days_has_no_weeks():
    assert len(weeks_of(_table(30))) == 4
    table = _table(30)
    empty = type(table)(
        **{name: getattr(table, name) for name in table.__dataclass_fields__}
        | {"frame": table.frame.iloc[:0]}
    )
    assert len(weeks_of(empty)) == 0
