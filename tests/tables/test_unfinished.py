"""What a record of movement without a usable end makes unknown, and what it leaves as it is."""

from __future__ import annotations

import numpy as np
import pytest

from miner import steps

DAYS = [f"2026-03-{k:02d}" for k in range(1, 13)]
UNKNOWN = None


@pytest.fixture
def days_of(tmp_path):
    """Twelve nights and days of 1, 2, ... 12 thousand steps, a lunch at noon, the rows given."""
    times = np.arange("2026-03-01", "2026-03-13", np.timedelta64(5, "m"), dtype="datetime64[m]")
    lines = ["time,glucose_mg_dl", *(f"{time},100" for time in times)]
    (tmp_path / "glucose.csv").write_text("\n".join(lines) + "\n")
    nights = [f"{day}T00:00,{day}T07:00" for day in DAYS]
    (tmp_path / "sleep.csv").write_text("\n".join(["start,end", *nights]) + "\n")
    meals = [f"{day}T12:00,lunch" for day in DAYS]
    (tmp_path / "meals.csv").write_text("\n".join(["time,label", *meals]) + "\n")

    def table(*rows, counts=range(1000, 13_000, 1000)):
        counted = [
            f"{day}T08:00,{day}T20:00,steps,,{n}" for day, n in zip(DAYS, counts, strict=True)
        ]
        rated = "2026-03-12T17:00,2026-03-12T17:05,run,vigorous,"
        head = "start,end,kind,intensity,steps"
        (tmp_path / "activity.csv").write_text("\n".join([head, *counted, rated, *rows]) + "\n")
        return steps.days(steps.read_client(tmp_path))

    return table


def yes_no(table, day, name):
    value = table.frame.loc[day, name]
    return UNKNOWN if np.isnan(value) else bool(value)


# The eleven known days have a median of 7 (day 3 in doubt) or 6 (day 10) thousand steps.
@pytest.mark.parametrize(("day", "few"), [("2026-03-03", UNKNOWN), ("2026-03-10", False)])
def test_steps_in_a_record_without_an_end_leave_few_steps_open_unless_the_rest_are_enough(
    days_of, day, few
):
    table = days_of(f"{day}T15:00,,walking,light,500")
    assert yes_no(table, day, "few_steps") is few
    assert np.isnan(table.measures.loc[day, "few_steps"])
    others = [one for one in DAYS if one != day]
    assert all(yes_no(table, one, "few_steps") is not UNKNOWN for one in others)
    if few is UNKNOWN:
        why = "steps of that day are in a record whose end cannot be used"
        assert str(table.reasons[day, "few_steps"]) == why


def test_a_walk_without_an_end_that_counts_no_steps_leaves_the_steps_known(days_of):
    table = days_of("2026-03-03T12:10,,walking,light,")
    assert yes_no(table, "2026-03-03", "few_steps") is True
    assert yes_no(table, "2026-03-03", "walk_after_lunch") is UNKNOWN
    assert yes_no(table, "2026-03-03", "active_day") is UNKNOWN
    assert yes_no(table, "2026-03-03", "vigorous_activity") is False  # it was noted as light


def test_a_record_that_was_something_else_unsettles_nothing_but_that(days_of):
    table = days_of("2026-03-03T12:10,,strength,light,", "2026-03-04T12:10,,strength,,")
    assert yes_no(table, "2026-03-03", "walk_after_lunch") is False
    assert yes_no(table, "2026-03-03", "active_day") is False
    assert yes_no(table, "2026-03-03", "vigorous_activity") is False
    assert yes_no(table, "2026-03-04", "walk_after_lunch") is False
    assert yes_no(table, "2026-03-04", "active_day") is UNKNOWN
    assert yes_no(table, "2026-03-04", "vigorous_activity") is UNKNOWN


def test_a_record_with_steps_may_have_been_a_walk_whatever_it_is_called(days_of):
    table = days_of("2026-03-03T12:10,,outing,light,1500", "2026-03-04T12:10,,outing,light,0")
    assert yes_no(table, "2026-03-03", "walk_after_lunch") is UNKNOWN
    assert yes_no(table, "2026-03-03", "active_day") is UNKNOWN
    assert yes_no(table, "2026-03-04", "walk_after_lunch") is False
    assert yes_no(table, "2026-03-04", "few_steps") is True


def test_steps_of_a_record_longer_than_a_day_may_be_of_each_day_it_touches(days_of):
    table = days_of("2026-03-02T12:00,2026-03-04T12:00,outing,light,9000")
    unsure = [day for day in DAYS if yes_no(table, day, "few_steps") is UNKNOWN]
    assert unsure == DAYS[1:4]


def test_a_day_whose_steps_are_all_in_such_a_record_was_no_day_with_the_tracker_off(days_of):
    counts = [1000, 2000, 0, *range(4000, 13_000, 1000)]
    off = days_of(counts=counts)
    assert "so it was off" in str(off.reasons["2026-03-03", "few_steps"])
    assert yes_no(off, "2026-03-03", "walk_after_lunch") is UNKNOWN
    on = days_of("2026-03-03T17:00,,walking,light,4000", counts=counts)
    assert yes_no(on, "2026-03-03", "few_steps") is UNKNOWN
    assert "cannot be used" in str(on.reasons["2026-03-03", "few_steps"])
    assert yes_no(on, "2026-03-03", "walk_after_lunch") is False
