"""One question, what stands behind an answer, and the error rate, as text."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from io import StringIO
from textwrap import fill
from types import ModuleType

import pytest

from miner import rulebook
from miner.core.results import ErrorRate, Evidence, FoundRate, Place, Wording
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
We could not tell.
  After 9 short nights, 5 mornings were in the client's higher quarter for
  waking glucose. After 19 other nights, 2 were.
    waking glucose +8.4 mg/dL (-3.0 to +12.0); on new days +5.2; ID 3fa9c1d2
    Fixed on 2026-02-01, as told. The guess was up. More than about 12 mg/dL is
    unlikely. In 40 new days, a difference worth acting on would be found 80
    times in 100.
"""
    )
    # 11.6 and 8.4 mg/dL over 18.0156
    mmol = render(answer_parts(item, rules, display_unit="mmol/L"))
    assert "waking glucose +0.47 mmol/L" in mmol
    assert "More than about 0.6 mmol/L is unlikely." in " ".join(mmol.split())


def test_what_was_written_down_is_told_with_what_was_before(rules: RuleBook) -> None:
    asked = [Asked("tag:wine", "overnight_mean", "up", "2026-01-01", proven=False)]
    asked.append(Asked("short_sleep", "wake_glucose"))
    assert (
        render(fixed_parts("client-07", asked, rules, ["2 fixed so far."]))
        == """\
client-07: written down. A short night and waking glucose. Fixed on 2026-02-01.
It will be judged on days that start after 2026-02-01. 2 fixed so far.

1 question fixed before it
  Wine days and night glucose. Fixed on 2026-01-01, as told. The guess was up.
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


def test_every_unit_is_told_and_the_unknown_are_counted_aside(behind: Why, rules: RuleBook) -> None:
    assert (
        render(why_parts(behind, rules), 100)
        == """\
client-07, ID 3fa9c1d2: a short night, and waking glucose.
1 day with it, 1 in your higher quarter. 1 day without it, 0 in your higher quarter. Habit unknown:
1. Not used: 1.

Counted (2)
                 wake            short
              glucose            sleep
  day           mg/dL  high          h  sensor    from
  2026-03-01       98  high  yes   5.4  sensor-1  sleep.csv:2; glucose.csv:79-90
  2026-03-02       98         no   7.0  sensor-1  sleep.csv:2; glucose.csv:79-90

Habit unknown (1)
  2026-03-03: no sleep record

Not used (1)
  2026-03-04: fever
"""
    )
    # 98.4 mg/dL over 18.0156
    assert "mmol/L" in render(why_parts(behind, rules, display_unit="mmol/L"), 100)
    assert " 5.5  high" in render(why_parts(behind, rules, display_unit="mmol/L"), 100)


def test_a_client_s_own_word_keeps_its_letters_in_a_title(behind: Why, rules: RuleBook) -> None:
    own = FactorValue("tag:late_tea", "2026-03-01", 1.0, 1.0, "count", "", ())
    units = tuple(replace(item, factors=(own,)) for item in behind.units)
    text = render(why_parts(replace(behind, factors=("tag:late_tea",), units=units), rules), 100)
    assert "tag:late_tea" in text


def test_a_set_names_the_habit_that_is_unknown(behind: Why, rules: RuleBook) -> None:
    known = FactorValue("late_dinner", "2026-03-03", 1.0, 21.5, "h", "", ())
    units = tuple(replace(item, factors=(*item.factors, known)) for item in behind.units)
    pair = replace(behind, factors=("short_sleep", "late_dinner"), lag_days=(0, 1), units=units)
    text = render(why_parts(pair, rules), 100)
    assert "a short night and a late dinner, and waking glucose." in text
    assert "2026-03-03: a short night: no sleep record\n" in text


def test_a_habit_of_the_day_before_is_told_with_its_own_date(behind: Why, rules: RuleBook) -> None:
    factor = FactorValue("late_dinner", "2026-02-28", 1.0, 21.5, "h", "", (Place("meals.csv", 7),))
    missing = replace(factor, from_unit=None, value=None, measure=None, reason="no records")
    units = (
        replace(behind.units[0], factors=(factor,)),
        replace(behind.units[1], factors=(missing,)),
    )
    lagged = replace(behind, factors=("late_dinner",), lag_days=(1,), units=units)
    lines = render(why_parts(lagged, rules), 120).splitlines()
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
Rate: 4.0 of 100 (95 % interval 1.7 to 7.7). The guard allows 5. client-07: 30
usable days, 1000 shuffles each, seed 0.

How often a true difference is found (a short night, waking glucose)
  true difference    found  of 100  95 % interval
        4.2 mg/dL  3 of 50       6        1 to 17
"""
    )
    assert "0.23 mmol/L" in render(error_rate_parts(RATE, rules, "day", "mmol/L"))


def test_what_was_stopped_says_so_and_too_few_days_end_at_once(rules: RuleBook) -> None:
    stopped = replace(RATE, finished=False, found_rate_at=(), factor=None, outcome=None)
    text = render(error_rate_parts(stopped, rules))
    assert "It was stopped before it was finished. Rate: 4.0" in text
    assert "How often" not in text
    few = replace(RATE, worlds=0, usable_units=12, any_claim_interval=None)
    assert render(error_rate_parts(few, rules)).startswith("12 usable days. At least 20 ")


def test_hostile_words_are_inert(samples: ModuleType, behind: Why, rules: RuleBook) -> None:
    asked = [Asked(f"tag:{HOSTILE}", "wake_glucose"), Asked(f"tag:{HOSTILE}", "day_mean")]
    places = (Place(HOSTILE, 1),)
    factor = FactorValue(f"tag:{HOSTILE}", None, None, None, HOSTILE, HOSTILE, places)
    units = [unit(HOSTILE, 1.0, 1.0, factors=(factor,), places=places)]
    units += [unit("d", None, None, used=False, reason=why, factors=(factor,))
              for why in ("", HOSTILE)]  # fmt: skip
    why = replace(behind, client=HOSTILE, id=HOSTILE, factors=(f"tag:{HOSTILE}",))
    texts = [
        render(
            answer_parts(samples.hypothesis(factors=(f"tag:{HOSTILE}",), notes=(HOSTILE,)), rules)
        ),
        render(fixed_parts(HOSTILE, asked, rules, [HOSTILE])),
        render(why_parts(replace(why, units=tuple(units)), rules), 100),
        render(error_rate_parts(replace(RATE, client=HOSTILE, factor=f"tag:{HOSTILE}"), rules)),
    ]
    for text in texts:
        assert "[red]" in text
        assert not set(text) & {"\x1b", "\u202e"}
        assert len(text) < 20_000
