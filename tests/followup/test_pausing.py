"""When a test waits for a caution that came after it was planned, and which pairs count."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from miner.core.results import CautionKind, CautionText, PlanPeriod
from miner.followup.pausing import pairs_left_out, pauses_of

PLANNED = "2026-03-01"


def caution(since="", opened="", lift=""):
    """One of the class agree about meals, met on a day, lifted on another or waiting."""
    return CautionText(
        CautionKind.REFERRAL,
        "See a clinician.",
        class_="agree",
        since=since,
        opened=(("meals", opened),) if opened else (),
        waiting=(("meals", lift),) if lift else (),
        reason="low",
    )


def periods(pairs=6, days=2):
    first = date(2026, 3, 2)
    spans = [(first + k * timedelta(days), k) for k in range(2 * pairs)]
    return [
        PlanPeriod(k + 1, k // 2 + 1, str(at), str(at + timedelta(days - 1)), "change", 0)
        for at, k in spans
    ]


def test_what_waits_now_pauses_a_test_and_leaves_out_what_began_since():
    (one,) = pauses_of([caution("2026-03-08", lift="informed")], "meals", PLANNED)
    assert (one.since, one.until, one.why) == ("2026-03-08", "", ("low",))
    # pair 2 began on the 6th and, its second period, on the 8th; pair 3 on the 10th
    assert pairs_left_out(periods(), [one]) == {3, 4, 5, 6}
    assert [one.covers(day) for day in ("2026-03-07", "2026-03-08", "2026-05-01")] == [
        False,
        True,
        True,
    ]


def test_once_lifted_only_what_began_between_is_left_out():
    (one,) = pauses_of([caution("2026-03-08", opened="2026-03-14")], "meals", PLANNED)
    assert (one.since, one.until) == ("2026-03-08", "2026-03-14")
    # pair 3 on the 10th and 12th; pair 4 on the 14th, the day it was lifted
    assert pairs_left_out(periods(), [one]) == {3}
    assert not one.covers("2026-03-14")


@pytest.mark.parametrize(
    "said",
    [
        caution("2026-02-20", opened="2026-03-10"),  # stood when it was planned
        caution("2026-03-08", opened="2026-03-08"),  # told on the very day
        caution("", opened="2026-03-20"),  # an answer has no day
        CautionText(CautionKind.ALWAYS, "Not a diagnosis."),
    ],
)
def test_what_is_lifted_and_came_before_or_has_no_day_leaves_nothing_out(said):
    assert pauses_of([said], "meals", PLANNED) == ()


def test_an_answer_pauses_without_leaving_a_pair_out():
    (one,) = pauses_of([caution(lift="agreed")], "meals", PLANNED)
    assert (one.since, one.until) == ("", "")
    assert pairs_left_out(periods(), [one]) == frozenset()
    assert one.covers("2026-03-02")


def test_other_topics_go_on():
    assert pauses_of([caution("2026-03-08", lift="informed")], "sleep", PLANNED) == ()


def test_two_cautions_are_two_pauses():
    found = pauses_of(
        [caution("2026-03-12", lift="informed"), caution("2026-03-04", opened="2026-03-07")],
        "meals",
        PLANNED,
    )
    assert [(one.since, one.until) for one in found] == [
        ("2026-03-04", "2026-03-07"),
        ("2026-03-12", ""),
    ]
    assert pairs_left_out(periods(), found) == {2, 4, 5, 6}
