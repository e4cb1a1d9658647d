"""What is printed of a test before it is agreed on, of kept patterns and of a test that was read.

Each text is whole: what reads badly in it is seen here first.
"""

from __future__ import annotations

from typing import Any

import pytest

from miner.core.results import PairsTest, Plan, PlanPeriod, PlanResult, Wording, worded
from miner.core.results.follow import Following, KeptResult, NewUnits
from miner.core.results.lengths import Contrast, Length, Lengths
from miner.core.results.noting import NotTicked
from miner.render.terminal import render
from miner.rulebook import RuleBook
from miner.words.door import Audience, said_to
from miner.words.follow import follow_parts
from miner.words.lengths import preview_parts
from miner.words.plan import result_parts


@pytest.fixture
def said(rules: RuleBook) -> RuleBook:
    """The rule books as they speak to a practitioner."""
    return said_to(rules, Audience.PRACTITIONER)


def kept(rules: RuleBook, **changes: Any) -> KeptResult:
    known: dict[str, Any] = {
        "id": "4c28aa7c",
        "as_": "watch",
        "kept_on": "2026-02-24",
        "suggested_by_days_to": "2026-02-23",
        "read_on": "2026-03-27",
        "new_units": 28,
        "status": "held_up",
        "difference": 10.0,
        "interval": (6.0, 15.0),
        "p": 0.001,
        "p_adjusted": 0.003,
        "factors": ("short_sleep",),
        "lag_days": (0,),
        "outcome": "wake_glucose",
        "unit_of": "day",
        "unit": "mg/dL",
        "direction": "up",
        "expected": 9.0,
        "smallest_worth_it": 5.0,
        "counts": NewUnits(28, 8, 20, 0),
        "open": False,
    }
    return worded(KeptResult(**(known | changes)), Wording(rules))


def tested(rules: RuleBook, **changes: Any) -> PlanResult:
    known: dict[str, Any] = {
        "plan": "p1",
        "status": "changed",
        "difference": -7.0,
        "interval": (-12.0, -2.0),
        "p": 0.02,
        "pairs_used": 9,
        "pairs_not_followed": 0,
        "as_followed": PairsTest(9, -7.0, (-12.0, -2.0), 0.02),
        "id": "4c28aa7c",
        "factor": "short_sleep",
        "outcome": "wake_glucose",
        "unit": "mg/dL",
        "unit_of": "day",
        "worth_having": 9.0,
        "read_on": "2026-04-29",
        "planned_pairs": 9,
    }
    return worded(PlanResult(**(known | changes)), Wording(rules))


def previewed() -> Plan:
    lengths = tuple(
        Length(name, weeks, weeks, weeks // 2, pairs, 2, finds, power, "2026-03-29")
        for name, pairs, weeks, power, finds in (
            ("short", 7, 4, 0.06, None),
            ("middle", 14, 8, 0.08, 9.6),
            ("long", 28, 16, 0.12, 6.4),
        )
    )
    contrast = Contrast(2.3, 9.0, of_claim=True, with_=10, without=29)
    return Plan(
        plan="",
        id="4c28aa7c",
        factor="short_sleep",
        outcome="wake_glucose",
        unit_of="day",
        unit="mg/dL",
        change="Go to bed 45 minutes earlier.",
        periods=(
            PlanPeriod(1, 1, "2026-03-02", "2026-03-03", "undrawn", 1),
            PlanPeriod(2, 1, "2026-03-04", "2026-03-05", "undrawn", 1),
        ),
        pairs=7,
        period_days=2,
        offset_days=1,
        seed=None,
        smallest_p=0.02,
        power_at_worth_having=0.5,
        detectable=9.6,
        worth_having=5.0,
        pair_spread=12.0,
        weeks=1,
        sensors=2,
        sensor_changes=("2026-03-07",),
        read_on="2026-03-06",
        written=False,
        lengths=Lengths(contrast, lengths, None, 17, 0.93, 120),
    )


PREVIEW = """\
client-01: go to bed 45 minutes earlier, and waking glucose. Nothing is saved.

What to expect: the records hold 10 short nights and 29 other nights. If the
pattern is real and the client has no more short nights, the average would be
about 2 mg/dL lower, not 9.

                            short     middle        long
weeks, sensors               4, 2       8, 4       16, 8
pairs of 2-day periods          7         14          28
finds 2 mg/dL in         6 of 100   8 of 100   12 of 100
finds in 80 of 100           none   10 mg/dL     6 mg/dL
last day                   29 Mar     29 Mar      29 Mar

No length finds that in 60 of 100 tests. Watching needs about 17 new days (keep
4c28aa7c --as watch). The client can also do it anyway (keep 4c28aa7c --as
adopt), or leave it. Stop if the client is unwell, or worried about food. To see
the days: --detail. To agree all the same: --length short, middle or long, or
--pairs 7, 14 or 28. The order is drawn then.
"""


def test_a_preview_says_what_to_expect_and_what_each_length_finds(said: RuleBook) -> None:
    assert render(preview_parts(previewed(), said, "client-01")) == PREVIEW


FOLLOW = """\
client-01, kept patterns, records to 28 Mar 2026
1 day is not ticked yet in the test of short nights and waking glucose. If all
was done as planned, run:
  miner note CLIENT --ticks "all as planned"

1  Short nights, then higher waking glucose. It held up on new days.
   Waking glucose was about 10 mg/dL higher (6 to 15 higher) after 8 short
   nights than after 20 other nights.
   About 9 mg/dL higher was expected.
   Kept on 24 Feb 2026 to watch, suggested by days up to 23 Feb 2026. ID
   4c28aa7c.

2  Late dinners, then higher night glucose. It did not hold.
   Night glucose was about 2 mg/dL higher (3 lower to 8 higher) after 8 late
   dinners than after 20 other days.
   About 6 mg/dL higher was expected.
   You can stop watching it.
   Kept on 24 Feb 2026 to watch, suggested by days up to 23 Feb 2026. ID
   4c28aa7c.

3  Days with more carbohydrate than usual, with more varied glucose. New days
   did not settle it.
   Glucose varied by about 5 mg/dL more (1 less to 11 more) on 8 days with more
   carbohydrate than usual than on 20 other days.
   Kept on 24 Feb 2026 to watch, suggested by days up to 23 Feb 2026. ID
   4c28aa7c.

4  Short nights, then higher waking glucose. It is read on 29 Apr 2026, not
   before. So far 9 of 9 pairs are complete.
   Kept on 24 Feb 2026 to be tested, suggested by days up to 23 Feb 2026. ID
   4c28aa7c, test 5db217.
"""


def test_each_verdict_on_new_days_has_its_sizes_in_the_words_of_the_measure(said: RuleBook) -> None:
    late = {"factors": ("late_dinner",), "outcome": "overnight_mean", "expected": 6.0}
    varied = {"outcome": "variability", "factors": ("high_carb_day",), "expected": None}
    runs = tested(said, plan="5db217", status=None, difference=None, interval=None, p=None)
    found = Following(
        "client-01",
        "2026-03-28",
        (
            kept(said),
            kept(said, status="did_not_hold", difference=2.0, interval=(-3.0, 8.0), **late),
            kept(said, status="not_settled", difference=5.0, interval=(-1.0, 11.0), **varied),
            kept(said, status=None, difference=None, as_="alternate", open=True, test=runs),
        ),
        (),
        (),
        not_ticked=(NotTicked("5db217", ("2026-03-27",)),),
    )
    assert render(follow_parts(found, said)) == FOLLOW


RESULTS: dict[str, tuple[dict[str, Any], str]] = {
    "changed": (
        {},
        """\
It changed when the client tested it.
Waking glucose was about 7 mg/dL lower (2 to 12 lower) on days of the change, in
9 pairs. Chance alone would give this in about 2 of 100 such tests.
""",
    ),
    "no_change": (
        {"difference": -2.0, "interval": (-7.0, 3.0), "p": 0.4},
        """\
No change of 9 mg/dL or more was found.
Waking glucose was about 2 mg/dL lower (7 lower to 3 higher) on days of the
change, in 9 pairs. A smaller change is not ruled out.
""",
    ),
    "not_settled": (
        {"difference": -6.0, "interval": (-14.0, 1.0), "p": 0.09},
        """\
The test did not settle it.
Waking glucose was about 6 mg/dL lower (14 lower to 1 higher) on days of the
change, in 9 pairs. Both a change of 9 mg/dL and no change at all fit this.
""",
    ),
}


@pytest.mark.parametrize("status", RESULTS)
def test_a_result_begins_with_its_verdict(said: RuleBook, status: str) -> None:
    changes, text = RESULTS[status]
    assert render(result_parts(tested(said, status=status, **changes), said)) == text
