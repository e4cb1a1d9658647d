"""One question, what stands behind an answer, and the error rate, as text."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from io import StringIO
from textwrap import fill
from types import ModuleType

import pytest

from miner import rulebook
from miner.core.messages import message
from miner.core.results import ErrorRate, Evidence, FoundRate, Place, Wording
from miner.core.results.ranking import Per
from miner.core.results.why import FactorValue, UnitBehind, Why, told, told_between
from miner.render.terminal import render
from miner.render.values import why_csv
from miner.rulebook import RuleBook
from miner.words.ask import answer_parts, error_rate_parts, fixed_parts
from miner.words.why import why_parts

HOSTILE = "[red]\x1b[31m\u202e" + "z" * 5000


@dataclass(frozen=True)
class Asked:
    factor: str
    outcome: str
    guess: str | None = None
    fixed_on: str = "2026-02-01"
    proven: bool = True
    shape: str | None = None


def test_an_answer_is_told_under_its_level(samples: ModuleType, rules: RuleBook) -> None:
    item = samples.hypothesis(
        family="fixed", evidence=Evidence.CANNOT_TELL, interval=(-3.0, 12.0), unlikely_beyond=11.6,
        days_to_settle=40, fixed_on="2026-02-01", fixed_proven=False, guess="up",
    )  # fmt: skip
    assert (
        render(answer_parts(item, rules))
        == """\
We could not tell about short nights and waking glucose.
Waking glucose was high after 5 of 9 short nights and after 2 of 19 others. It
was about 8 mg/dL higher (3 lower to 12 higher); on new days, expect about 5.
Written down on 1 Feb 2026, according to you. The guess was higher. More than
about 12 mg/dL is unlikely. In 40 new days, a difference worth acting on would
be found 80 times in 100.
"""
    )
    # 11.6 and 8.4 mg/dL over 18.0156
    mmol = render(answer_parts(item, rules, display_unit="mmol/L"))
    assert "It was about 0.5 mmol/L higher" in " ".join(mmol.split())
    assert "More than about 0.6 mmol/L is unlikely." in " ".join(mmol.split())


def test_what_was_written_down_is_told_with_what_was_before(rules: RuleBook) -> None:
    asked = [Asked("tag:wine", "overnight_mean", "up", "2026-01-01", proven=False)]
    asked.append(Asked("short_sleep", "wake_glucose"))
    assert (
        render(fixed_parts("client-07", asked, rules, ["2 fixed so far."]))
        == """\
Question 2 of client-07 was written down on 1 Feb 2026.
Do short nights come before a change in waking glucose?
Only days after 1 Feb 2026 will answer it. 2 fixed so far.

Written down before it
  Do wine days come before higher night glucose? Written down on 1 Jan 2026,
  according to you.
"""
    )


def unit(day: str, with_: float | None, measure: float | None, **changes: object) -> UnitBehind:
    factor = FactorValue("short_sleep", day, with_, measure, "h", "", (Place("sleep.csv", 2),))
    places = (Place("glucose.csv", 79), Place("glucose.csv", 90))
    item = UnitBehind(day, True, "", with_, 98.4, 0.0, (factor,), places, "sensor-1")
    return replace(item, **changes)  # type: ignore[arg-type]


@pytest.fixture
def behind() -> Why:
    """Two days that count, one unknown, one left out."""
    unknown = FactorValue("short_sleep", "2026-03-03", None, None, "h", "no sleep record", ())
    return Why(
        "client-07", "3fa9c1d2", ("short_sleep",), (0,), "wake_glucose", "day",
        (
            unit("2026-03-01", 1.0, 5.38, high=1.0),
            unit("2026-03-02", 0.0, 7.0),
            unit("2026-03-03", None, None, used=False, factors=(unknown,)),
            unit("2026-03-04", 1.0, 5.0, used=False, reason="fever", outcome=None, high=None),
        ),
    )  # fmt: skip


SHORT = {"2026-02-15": (5.4, 114.2, "sensor-2"), "2026-02-16": (5.5, 121.4, "sensor-2")}
OTHER = {
    "2026-01-12": (7.4, 92.0, "sensor-1"),
    "2026-01-13": (6.5, 92.4, "sensor-1"),
    "2026-01-14": (7.5, 92.1, "sensor-1"),
    "2026-01-15": (7.0, 106.3, "sensor-1"),
    "2026-02-17": (7.1, 110.0, "sensor-2"),
}
HIGH = {"2026-01-15", "2026-02-15", "2026-02-16"}


@pytest.fixture
def nights() -> Why:
    """Two short nights, five others, and three that are not used."""
    units = [
        unit(
            day, float(days is SHORT), hours, outcome=level, sensor=sensor, high=float(day in HIGH)
        )
        for days in (OTHER, SHORT)
        for day, (hours, level, sensor) in days.items()
    ]
    few = message("tables.readings_of_day", share=9, need=70)
    units += [
        unit("2026-02-02", None, None, used=False, reason=few),
        unit("2026-02-23", None, None, used=False, reason=few),
        unit(
            "2026-02-24",
            None,
            None,
            used=False,
            factors=(
                FactorValue("short_sleep", "2026-02-24", None, None, "h", "no sleep record", ()),
            ),
        ),
    ]
    return Why(
        "client-01",
        "4c28aa7c",
        ("short_sleep",),
        (0,),
        "wake_glucose",
        "day",
        tuple(units),
        difference=10.9,
    )


def test_both_groups_and_their_averages_come_before_the_days(nights: Why, rules: RuleBook) -> None:
    # 114.2 and 121.4 are 117.8 on average; the five others 98.56
    assert (
        render(why_parts(nights, rules, asked_as="1"))
        == """\
Pattern 1: short nights came before higher waking glucose (client-01)

               mornings   average   high   lowest to highest
short nights          2       118      2          114 to 121
other nights          5        99      1           92 to 110
The difference is 19 mg/dL, or 11 once weekends, drift and the sensors are
allowed for. High began at 106 on the first and at 114 on the second sensor.

Short nights: sleep (h), waking glucose (mg/dL), * high
  15 Feb 5.4 114*   16 Feb 5.5 121*

Other nights
  12 Jan 7.4 92    13 Jan 6.5 92    14 Jan 7.5 92    ... (2 more)

Not used: 2, 23 Feb (there are too few readings in the day); 24 Feb (no sleep
record).
A pattern does not show why, and this is not a diagnosis.
The file and row of every value: --detail
"""
    )


def test_sizes_are_told_in_the_unit_of_the_practice(nights: Why, rules: RuleBook) -> None:
    # 19.24 and 10.9 mg/dL over 18.0156
    text = " ".join(render(why_parts(nights, rules, display_unit="mmol/L")).split())
    assert "The difference is 1.1 mmol/L, or 0.6 once weekends" in text
    assert "High began at 5.9 on the first and at 6.3 on the second sensor." in text
    assert "Short nights came before higher waking glucose (client-01)" in text


def test_a_difference_that_turns_is_told_both_ways(nights: Why, rules: RuleBook) -> None:
    def of(difference: float | None) -> str:
        told = why_parts(replace(nights, difference=difference), rules)
        return " ".join(render(told).split())

    assert (
        "The average is 19 mg/dL higher, but 2 lower once weekends, drift and the sensors are "
        "allowed for." in of(-2.0)
    )
    assert "The difference is 19 mg/dL, also once weekends" in of(19.2)
    assert "The difference is 19 mg/dL. High began" in of(None)


def test_a_dose_is_told_in_groups_by_its_amount(nights: Why, rules: RuleBook) -> None:
    per = Per(0.5, "h", "less", 1.5)
    assert (
        render(why_parts(replace(nights, per=per), rules, asked_as="2"))
        == """\
Pattern 2: each hour less sleep came before higher waking glucose (client-01)

                  mornings   average   high   lowest to highest
under 6.5 hours          2       118      2          114 to 121
6.5 to 7 hours           1        92      0            92 to 92
7 hours or more          4       100      1           92 to 110
Waking glucose was about 11 mg/dL higher for each hour less sleep, with
weekends, drift and the sensors allowed for. High began at 106 on the first and
at 114 on the second sensor.

Under 6.5 hours: sleep (h), waking glucose (mg/dL), * high
  15 Feb 5.4 114*   16 Feb 5.5 121*

6.5 to 7 hours
  13 Jan 6.5 92

7 hours or more
  12 Jan 7.4  92    14 Jan 7.5  92    15 Jan 7.0 106*   17 Feb 7.1 110

Not used: 2, 23 Feb (there are too few readings in the day); 24 Feb (no sleep
record).
A pattern does not show why, and this is not a diagnosis.
The file and row of every value: --detail
"""
    )


def test_meals_are_told_by_their_time_and_counted_where_not_used(rules: RuleBook) -> None:
    def meal(at: str, with_: float | None, rise: float, **changes: object) -> UnitBehind:
        factor = FactorValue("tag:restaurant", at, with_, with_, "count", "", ())
        return replace(unit(at, with_, None, outcome=rise, factors=(factor,)), **changes)  # type: ignore[arg-type]

    units = (
        meal("2026-01-12T19:30", 1.0, 71.0, high=1.0),
        meal("2026-01-13T12:05", 0.0, 40.0),
        meal("2026-01-14T12:05", 0.0, 0.0, used=False, reason="it was eaten at waking"),
    )
    why = Why("client-01", "1a2b3c4d", ("tag:restaurant",), (0,), "rise", "meal", units, "same_day")
    assert (
        render(why_parts(why, rules, asked_as="1"))
        == """\
Pattern 1: restaurant meals went with a larger rise after the meal (client-01)

                   meals   average   high   lowest to highest
restaurant meals       1        71      1            71 to 71
other meals            1        40      0            40 to 40
The difference is 31 mg/dL. High began at 71 mg/dL.

Restaurant meals: rise after the meal (mg/dL), * high
  12 Jan 19:30 71*

Other meals
  13 Jan 12:05 40

Not used: 1 meal (it was eaten at waking).
A pattern does not show why, and this is not a diagnosis.
The file and row of every value: --detail
"""
    )


def test_every_unit_is_told_with_its_rows_under_detail(behind: Why, rules: RuleBook) -> None:
    assert (
        render(why_parts(behind, rules, detail=True), 100)
        == """\
Short nights, and waking glucose (client-07)

               mornings   average   high   lowest to highest
short nights          1        98      1            98 to 98
other nights          1        98      0            98 to 98
The difference is 0 mg/dL. High began at 98 mg/dL.

Counted (2)
               waking            short
              glucose            night
  day           mg/dL  high          h  sensor    from
  2026-03-01       98  high  yes   5.4  sensor-1  sleep.csv:2; glucose.csv:79-90
  2026-03-02       98         no   7.0  sensor-1  sleep.csv:2; glucose.csv:79-90

Habit not known (1)
  2026-03-03: no sleep record

Not used (1)
  2026-03-04: fever
"""
    )
    # 98.4 mg/dL over 18.0156
    text = render(why_parts(behind, rules, display_unit="mmol/L", detail=True), 100)
    assert "mmol/L" in text
    assert " 5.5  high" in text


def test_a_set_names_the_habit_that_is_unknown(behind: Why, rules: RuleBook) -> None:
    known = FactorValue("late_dinner", "2026-03-03", 1.0, 21.5, "h", "", ())
    units = tuple(replace(item, factors=(*item.factors, known)) for item in behind.units)
    pair = replace(behind, factors=("short_sleep", "late_dinner"), lag_days=(0, 1), units=units)
    text = render(why_parts(pair, rules, detail=True), 100)
    assert "Short nights and late dinners together, and waking glucose" in text
    assert "2026-03-03: a short night: no sleep record\n" in text
    assert "3 Mar (no sleep record); 4 Mar (fever)." in render(why_parts(pair, rules))


def test_a_habit_of_the_day_before_is_told_with_its_own_date(behind: Why, rules: RuleBook) -> None:
    factor = FactorValue("late_dinner", "2026-02-28", 1.0, 21.5, "h", "", (Place("meals.csv", 7),))
    missing = replace(factor, from_unit=None, value=None, measure=None, reason="no records")
    units = (
        replace(behind.units[0], factors=(factor,)),
        replace(behind.units[1], factors=(missing,)),
    )
    lagged = replace(behind, factors=("late_dinner",), lag_days=(1,), units=units)
    lines = render(why_parts(lagged, rules, detail=True), 120).splitlines()
    assert [line.split() for line in lines if line.startswith("  2026-03-0")] == [
        [
            "2026-03-01",
            "98",
            "high",
            "yes",
            "21.5",
            "2026-02-28",
            "sensor-1",
            "meals.csv:7;",
            "glucose.csv:79-90",
        ],
        ["2026-03-02", "98", "?", "-", "-", "sensor-1", "meals.csv:7;", "glucose.csv:79-90"],
    ]
    assert any("recorded" in line for line in lines)
    rows = list(csv.DictReader(StringIO(why_csv(lagged))))
    assert [row["late_dinner_recorded_on"] for row in rows] == ["2026-02-28", ""]
    assert [row["sensor"] for row in rows] == ["sensor-1", "sensor-1"]
    assert lagged.to_frame()["late_dinner_recorded_on"].iloc[0] == "2026-02-28"
    assert lagged.to_dict()["units"][0]["sensor"] == "sensor-1"


def test_the_sheet_holds_every_unit_in_full(behind: Why) -> None:
    rows = list(csv.DictReader(StringIO(why_csv(behind))))
    assert [row["used"] for row in rows] == ["1", "1", "0", "0"]
    assert [row["with"] for row in rows] == ["1", "0", "", "1"]
    assert [row["high"] for row in rows] == ["1", "0", "0", ""]
    assert [row["wake_glucose"] for row in rows] == ["98.4", "98.4", "98.4", ""]
    assert rows[0]["short_sleep_measure"] == "5.38"
    assert rows[2]["short_sleep_reason"] == "no sleep record"
    assert (rows[0]["outcome_from"], rows[0]["short_sleep_from"]) == (
        "glucose.csv:79-90",
        "sleep.csv:2",
    )


def test_lines_that_follow_each_other_are_joined() -> None:
    rows = [("a", 2), ("a", 3), ("a", 4), ("a", 9), ("b", 10), ("b", 10), ("a", 11)]
    assert told(Place(file, row) for file, row in rows) == "a:2-4; a:9; b:10; a:11"
    assert told(()) == ""
    assert told_between((Place("a", 2), Place("a", 30))) == "a:2-30"
    assert told_between((Place("a", 2), Place("b", 30))) == "a:2; b:30"
    assert told_between((Place("a", 2),)) == "a:2"


RATE = ErrorRate(
    "client-07", 200, 1000, 0, 8, 0.04, (0.0174, 0.0773), 0.05, "short_sleep", "wake_glucose",
    (FoundRate(4.2, "mg/dL", 50, 3, 0.06, (0.0125, 0.1655)), FoundRate(8.4, "mg/dL", 0, 0, None)),
    30, True, wording=Wording(rulebook.load()),
)  # fmt: skip


def test_the_error_rate_is_told_with_its_interval(rules: RuleBook) -> None:
    # Clopper-Pearson 95 % of 8 in 200: 1.74 to 7.73 %; of 3 in 50: 1.25 to 16.55 % (R binom.test)
    assert (
        render(error_rate_parts(RATE, rules))
        == f"""\
{fill(RATE.sentence, 80)}
That is 4.0 of 100, and 5 are allowed. It rests on 30 days of client-07, with
1000 shuffled records for each one (seed 0).

A true difference in waking glucose (a short night) was found 3 of 50 times at
4.2 mg/dL.
"""
    )
    assert "0.23 mmol/L" in render(error_rate_parts(RATE, rules, "day", "mmol/L"))


def test_what_was_stopped_says_so_and_too_few_days_end_at_once(rules: RuleBook) -> None:
    stopped = replace(RATE, finished=False, found_rate_at=(), factor=None, outcome=None)
    text = " ".join(render(error_rate_parts(stopped, rules)).split())
    assert (
        "That is 4.0 of 100, and 5 are allowed. The work was stopped before it was finished."
        in text
    )
    assert "A true difference" not in text
    few = replace(RATE, worlds=0, usable_units=12, any_claim_interval=None)
    assert render(error_rate_parts(few, rules)).startswith("12 usable days. At least 20 ")


def test_hostile_words_are_inert(samples: ModuleType, behind: Why, rules: RuleBook) -> None:
    asked = [Asked(f"tag:{HOSTILE}", "wake_glucose"), Asked(f"tag:{HOSTILE}", "day_mean")]
    places = (Place(HOSTILE, 1),)
    factor = FactorValue(f"tag:{HOSTILE}", None, None, None, HOSTILE, HOSTILE, places)
    units = [unit("2026-03-01", 1.0, 1.0, factors=(factor,), places=places)]
    units += [unit("2026-03-02", None, None, used=False, reason=why, factors=(factor,))
              for why in ("", HOSTILE)]  # fmt: skip
    why = replace(behind, client=HOSTILE, id=HOSTILE, factors=(f"tag:{HOSTILE}",))
    texts = [
        render(
            answer_parts(samples.hypothesis(factors=(f"tag:{HOSTILE}",), notes=(HOSTILE,)), rules)
        ),
        render(fixed_parts(HOSTILE, asked, rules, [HOSTILE])),
        *(
            render(why_parts(replace(why, units=tuple(units)), rules, detail=detail), 100)
            for detail in (False, True)
        ),
        render(error_rate_parts(replace(RATE, client=HOSTILE, factor=f"tag:{HOSTILE}"), rules)),
    ]
    for text in texts:
        assert "[red]" in text
        assert not set(text) & {"\x1b", "\u202e"}
        assert len(text) < 20_000
