"""What is said of a test before it is agreed on."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from miner.core.results import Plan, PlanPeriod
from miner.core.results.lengths import Contrast, Length, Lengths
from miner.render.terminal import render
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.door import at_door
from miner.words.lengths import beyond, calendar_weeks, expect, preview_parts

CONTRAST = Contrast(2.3, 9.0, of_claim=True, with_=10, without=29)


def length(name: str, weeks: int, power: float) -> Length:
    return Length(name, weeks, weeks, weeks // 2, 2 * weeks, 2, 9.6, power, "2026-03-29")


def offered(**changes: Any) -> Lengths:
    three = tuple(
        length(name, weeks, power)
        for name, weeks, power in (("short", 4, 0.06), ("middle", 8, 0.08), ("long", 16, 0.12))
    )
    return replace(Lengths(CONTRAST, three, None, 17, 0.93, 120), **changes)


def plan(lengths: Lengths, **changes: Any) -> Plan:
    periods = (
        PlanPeriod(1, 1, "2026-03-02", "2026-03-03", "undrawn", 1),
        PlanPeriod(2, 1, "2026-03-04", "2026-03-05", "undrawn", 1),
    )
    values: dict[str, Any] = {
        "plan": "",
        "id": "4c28aa7c",
        "factor": "short_sleep",
        "outcome": "wake_glucose",
        "unit_of": "day",
        "unit": "mg/dL",
        "change": "Go to bed 45 minutes earlier.",
        "periods": periods,
        "pairs": 7,
        "period_days": 2,
        "offset_days": 1,
        "seed": None,
        "smallest_p": 0.02,
        "power_at_worth_having": 0.5,
        "detectable": 9.6,
        "worth_having": 5.0,
        "pair_spread": 12.0,
        "weeks": 1,
        "sensors": 2,
        "sensor_changes": ("2026-03-07",),
        "read_on": "2026-03-06",
        "written": False,
        "lengths": lengths,
    }
    return Plan(**values | changes)


def told(made: Plan, rules: RuleBook, **how: Any) -> str:
    return " ".join(render(preview_parts(made, rules, "client-01", **how)).split())


def test_three_lengths_stand_side_by_side_and_none_finds_it(rules: RuleBook) -> None:
    text = told(plan(offered()), rules)
    assert text.startswith(
        "client-01: go to bed 45 minutes earlier, and waking glucose. Nothing is"
    )
    assert "the records hold 10 short nights and 29 other nights" in text
    assert "the average would be about 2 mg/dL lower, not 9." in text
    assert "finds 2 mg/dL in 6 of 100 8 of 100 12 of 100" in text
    assert "weeks, sensors 4, 2 8, 4 16, 8" in text
    assert "No length finds that in 60 of 100 tests. Watching needs about 17 new days" in text
    assert "--length short, middle or long, or --pairs" in text
    assert "2026-03-02" not in text
    assert "2 to 3 Mar 2026" in told(plan(offered()), rules, detail=True)


def test_the_default_is_named_and_nothing_else_is_offered(rules: RuleBook) -> None:
    text = told(plan(offered(default="middle")), rules)
    assert "Middle is chosen unless you say otherwise" in text
    assert "--as watch" not in text


@pytest.mark.parametrize(
    ("power", "said"),
    [(0.7, "finds it in 70 of 100 (keep"), (0.3, "finds it in only 30 of 100"), (None, "anyway")],
)
def test_what_watching_would_find_is_said(power: float | None, said: str, rules: RuleBook) -> None:
    assert said in told(plan(offered(watch_days=None, watch_power=power)), rules)


def test_amounts_are_in_the_unit_of_the_practice(rules: RuleBook) -> None:
    text = told(plan(offered()), rules, display_unit="mmol/L")
    assert "about 0.1 mmol/L lower, not 0.5" in text
    assert "mg/dL" not in text


def test_a_dose_and_a_hint_say_what_they_rest_on(rules: RuleBook) -> None:
    dose = Contrast(9.0, 12.0, of_claim=True, asks=0.75, amount=1.0)
    said = " ".join(expect(plan(offered(contrast=dose)), rules, Amounts()))
    assert "each hour less sleep came before about 12 mg/dL more" in said
    assert "The change is 45 minutes each time." in said
    assert "about 9 mg/dL lower" in said
    hint = replace(CONTRAST, of_claim=False)
    said = " ".join(expect(plan(offered(contrast=hint)), rules, Amounts()))
    assert said.startswith("A hint promises nothing.")


def test_a_page_names_no_command_and_shows_the_days_by_week(rules: RuleBook) -> None:
    with at_door("page"):
        said = " ".join(beyond(plan(offered())))
        (week,) = calendar_weeks(plan(offered()))
    assert "--" not in said
    assert week[0] == ("2 Mar", "pair 1, first")
    assert week[3] == ("5 Mar", "pair 1, second")
    assert week[4] == ("6 Mar", "")
    assert week[5] == ("7 Mar", "new sensor")
    assert week[6] == ("", "")


def test_a_test_of_which_six_pairs_take_too_long_says_so(rules: RuleBook) -> None:
    assert "Six pairs of this test take more than 16 weeks." in told(
        plan(offered(lengths=())), rules
    )
