"""A day in words: what is unusual among the client's days, what to ask, and the rest."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from miner.core.results.morning import Against, DayReview, Noted, RiseOfDay
from miner.render.terminal import render
from miner.words.amounts import Amounts
from miner.words.day import (
    day_parts,
    measure_words,
    night_words,
    not_as_usual,
    noted_words,
    usual_words,
)

MG_DL = Amounts("mg/dL")


def against(name: str, unit: str, value: float, *, above: int, below: int, **about: Any) -> Against:
    label = about.pop("label", name)
    given = {"inside": False, "days": 38, "low": 90.0, "high": 115.0, "middle": 100.0} | about
    return Against(name, label, unit, value, reason="", above=above, below=below, **given)


@pytest.mark.parametrize(
    ("item", "said"),
    [
        (against("wake_glucose", "mg/dL", 117, above=1, below=37),
         "waking glucose 117 mg/dL, second highest of 39 mornings"),
        (against("asleep_hours", "h", 5.0, above=38, below=0, middle=7.0),
         "time asleep 5 hours, the shortest of 39 nights"),
        (against("midpoint_later_than_usual", "min", -110, above=38, below=0, middle=0.0),
         "middle of the night 110 minutes earlier than usual, the earliest of 39 nights"),
        (against("midpoint_later_than_usual", "min", 110, above=2, below=36, middle=0.0),
         "middle of the night 110 minutes later than usual, third latest of 39 nights"),
        (against("dinner_clock", "h", 22.5, above=0, below=38, middle=19.0, label="time of dinner"),
         "time of dinner 22:30, the latest of 39 days"),
        (against("steps", "steps", 900, above=38, below=0, middle=6000.0),
         "steps 900, the least of 39 days"),
        (against("day_mean", "mg/dL", 140, above=4, below=196, days=200),
         "day_mean 140 mg/dL, among the highest of 201 days"),
        (against("biggest_rise", "mg/dL", 92, above=0, below=38, middle=60.0),
         "biggest rise, the largest of 39 days"),
        (against("wake_glucose", "mg/dL", 100, above=20, below=18, inside=True),
         "waking glucose 100 mg/dL"),
        (against("wake_glucose", "mg/dL", 100, above=2, below=3, inside=None, middle=None),
         "waking glucose 100 mg/dL"),
    ],
)  # fmt: skip
def test_a_number_is_told_with_its_place(item: Against, said: str) -> None:
    assert measure_words(item, MG_DL) == said


def test_the_middle_of_a_night_is_earlier_or_later_and_never_minus() -> None:
    item = against("midpoint_later_than_usual", "min", -8, above=0, below=0, low=-56, high=45)
    assert usual_words(item, MG_DL) == "56 min earlier to 45 min later"


def noted(stream: str, clock: str, kind: str, minutes: float, text: str = "") -> Noted:
    start, hour = f"2026-03-02T{clock}", int(clock[:2])
    end = f"2026-03-02T{hour:02d}:{int(clock[3:]) + int(minutes) % 60:02d}"
    about = {"kind": kind, "minutes": minutes}
    return Noted(stream, start, end, text or f"{kind}, {minutes:.0f} min", "a.csv", 2, **about)


def test_records_of_one_kind_are_told_together() -> None:
    walks = [
        noted("activity", f"{8 + k // 4:02d}:{k % 4 * 15:02d}", "walking", 14) for k in range(34)
    ]
    meal = noted("meals", "12:30", "meals", 0, "lunch, 60 g carbohydrate")
    assert noted_words([*walks, meal]) == (
        "08:00 to 16:29 walking, 34 times, 476 min in all. 12:30 lunch, 60 g carbohydrate."
    )
    stress = [noted("stress", "13:34", "stress", 20), noted("stress", "18:57", "stress", 16)]
    assert noted_words(stress) == "13:34 and 18:57 stress, 36 min in all."
    assert noted_words(stress[:1]) == "13:34 stress, 20 min."


def at(clock: str, day: str = "2026-02-04") -> str:
    return f"{day}T{clock}"


def rise(start: str, minutes: int, height: float, back: str, *before: Noted) -> RiseOfDay:
    return RiseOfDay(
        start=at(start),
        peak=at("14:00"),
        baseline=90.0,
        height=height,
        minutes_to_peak=minutes,
        back=at(back),
        cut_by="",
        hills=1,
        meal="",
        unlogged=False,
        before=before,
    )


def day(**changes: Any) -> DayReview:
    numbers = (
        against("wake_glucose", "mg/dL", 117, above=1, below=37),
        against("asleep_hours", "h", 5.0, above=40, below=0, middle=7.0, days=40),
        against("stress_minutes", "min", 200, above=0, below=40, middle=30.0, label="stress"),
        against("steps", "steps", 900, above=30, below=8, middle=6000.0, inside=None),
        replace(
            against("x", "min", 0, above=0, below=0, label="walks after breakfast"),
            value=None,
            inside=None,
        ),
        against("carbs_grams", "g", 140, above=20, below=18, inside=True, label="carbohydrate"),
        against("day_mean", "mg/dL", 115.5, above=1, below=37, label="the day's average"),
    )
    lunch = noted("meals", "13:06", "meals", 0, "lunch sandwich, 65 g carbohydrate")
    run, night = noted("activity", "10:48", "running", 37), noted("sleep", "01:59", "sleep", 322)
    tag = replace(noted("tags", "13:20", "tags", 0, "tag coffee late"), own="coffee late")
    return replace(
        DayReview(
            client="client-01",
            date="2026-02-04",
            chosen="asked for",
            usable=True,
            left_out="",
            start=at("07:21"),
            end=at("07:15", "2026-02-05"),
            of_client=(),
            first=(),
            night=night_words(at("01:59"), at("07:21"), numbers[1]),
            numbers=numbers,
            rises=(rise("12:08", 105, 83.4, "15:57", night, run, lunch, tag),),
            on_test=(),
            could_be_asked=(not_as_usual([item for item in numbers if item.extreme]),),
            cautions=("This is not a diagnosis.",),
            curve=(),
            lanes=(),
            range=(70.0, 140.0),
        ),
        **changes,
    )


def test_a_day_begins_with_what_is_unusual_and_what_to_ask() -> None:
    assert (
        render(day_parts(day()))
        == """\
client-01, Wednesday 4 February 2026, from waking at 07:21 to 07:15 the next day
Waking glucose 117 mg/dL, second highest of 39 mornings
Asleep 5.0 hours (01:59 to 07:21), the shortest of 41 nights
Stress 200 min, the most of 39 days

To ask: How was the evening before? What was different that day?

Rises, and what was noted in the 3 hours before
12:08  83 mg/dL in 105 minutes; back at 15:57
       10:48 running, 37 min. 13:06 lunch sandwich, 65 g carbohydrate. 13:20
       coffee late.

Not known: walks after breakfast.
One day is never a pattern. All other measures: --detail
"""
    )


def test_the_other_measures_of_a_day_are_behind_detail() -> None:
    text = render(day_parts(day(), "mmol/L", detail=True))
    assert (
        text[text.index("One day is never") :]
        == """\
One day is never a pattern.

All other measures
  Usual is where 95 of 100 of the client's other days are.
                       that day       usual
  carbohydrate            140 g   90 to 115
  the day's average  6.4 mmol/L  5.0 to 6.4
  Too few other days to know what is usual: steps 900.

This is not a diagnosis.
"""
    )


@pytest.mark.parametrize(
    ("changes", "extreme"),
    [
        ({"above": 0, "below": 38}, True),
        ({"above": 38, "below": 0}, True),
        ({"above": 1, "below": 37}, False),
        ({"above": 0, "below": 38, "inside": True}, False),
        ({"above": 0, "below": 38, "inside": None}, False),
    ],
)
def test_only_a_value_that_no_other_day_reaches_is_unusual(
    changes: dict[str, Any], extreme: bool
) -> None:
    assert against("steps", "steps", 9000, **changes).extreme is extreme


def test_what_is_asked_follows_what_is_unusual() -> None:
    def asked(*names: str) -> str:
        return not_as_usual([against(name, "min", 1, above=0, below=38) for name in names])

    assert asked("deep_share") == "How was the evening before?"
    assert (
        asked("dinner_clock", "steps") == "What was this dinner like? What was different that day?"
    )
