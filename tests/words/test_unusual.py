"""One number of a day in words: its place among the client's days, said as a person would."""

from __future__ import annotations

from typing import Any

import pytest

from miner.core.results.morning import Against, Noted
from miner.words.amounts import Amounts
from miner.words.day import measure_words, noted_words

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
         "time asleep 5.0 h, the shortest of 39 nights"),
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
         "the largest climb within 3 hours was the highest of 39 days"),
        (against("wake_glucose", "mg/dL", 100, above=20, below=18, inside=True),
         "waking glucose 100 mg/dL"),
        (against("wake_glucose", "mg/dL", 100, above=2, below=3, inside=None, middle=None),
         "waking glucose 100 mg/dL"),
    ],
)  # fmt: skip
def test_a_number_is_told_with_its_place(item: Against, said: str) -> None:
    assert measure_words(item, MG_DL) == said


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
        "08:00 to 16:29 walking, 34 times, 476 min in all; 12:30 lunch, 60 g carbohydrate"
    )
    stress = [noted("stress", "13:34", "stress", 20), noted("stress", "18:57", "stress", 16)]
    assert noted_words(stress) == "13:34 and 18:57 stress, 36 min in all"
    assert noted_words(stress[:1]) == "13:34 stress, 20 min"
