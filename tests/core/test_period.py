"""A period of days, against pandas; units by name; the examples in their docstrings."""

import doctest
from datetime import UTC, date, datetime
from importlib import import_module

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from miner.core.messages import MinerError
from miner.core.period import EVER, Period, day_of
from miner.core.unit import Unit

DAYS = st.dates(date(2020, 1, 1), date(2030, 12, 31))


@given(DAYS, DAYS, st.lists(DAYS, min_size=1, max_size=9))
def test_the_days_inside_are_those_of_pandas(one, other, days):
    first, last = sorted((one, other))
    period, found = Period.of(first, last.isoformat()), pd.Series([f"{day}" for day in days])
    expected = pd.Series(pd.to_datetime(found)).between(pd.Timestamp(first), pd.Timestamp(last))
    assert period.among(found).tolist() == expected.tolist()
    assert [day in period for day in found] == expected.tolist()


@given(DAYS, DAYS)
def test_an_open_side_has_no_end(day, other):
    assert (day.isoformat() in Period.of(first=other)) == (day >= other)
    assert (day.isoformat() in Period.of(last=other)) == (day <= other)
    assert day.isoformat() in EVER


@pytest.mark.parametrize(
    "value",
    [
        "2026-03-01",
        date(2026, 3, 1),
        datetime(2026, 3, 1, 23, 59, tzinfo=UTC),
        pd.Timestamp("2026-03-01 07:00"),
        np.datetime64("2026-03-01T07:00"),
    ],
)
def test_a_day_of_every_usual_type_is_a_day(value):
    assert day_of(value) == "2026-03-01"


@pytest.mark.parametrize(
    "value", ["1 March", "", 3, None, "2026-02-30", pd.NaT, np.datetime64("NaT")]
)
def test_what_is_no_day_is_reported(value):
    with pytest.raises(MinerError, match=r"is not a date\. Expected a date such as 2026-03-01"):
        day_of(value)


def test_a_period_that_ends_before_it_begins_is_reported():
    with pytest.raises(MinerError, match="2026-05-01, comes after the last day, 2026-04-30"):
        Period.of("2026-05-01", date(2026, 4, 30))


def test_units_have_names():
    assert [Unit.of(name).other for name in ("day", "meal")] == ["meal", "day"]
    for name in ("meals", "Day", None, 1):
        with pytest.raises(MinerError, match="Expected 'day' or 'meal'"):
            Unit.of(name)


@pytest.mark.parametrize("name", ["period", "unit"])
def test_examples_do_what_they_say(name):
    found = doctest.testmod(import_module(f"miner.core.{name}"))
    assert found.attempted
    assert not found.failed
