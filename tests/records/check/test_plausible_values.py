"""Values that contradict each other within a row, and columns that never vary."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from miner.core.results import Finding
from miner.records.check.plausible import never_varies, plausible_activity, plausible_meals
from miner.records.findings import Findings


def activity(minutes: float, count: int = 40, **columns: Any) -> pd.DataFrame:
    start = pd.Timestamp("2026-03-01 06:00") + pd.to_timedelta(np.arange(count) * 900, unit="s")
    frame = pd.DataFrame({"start": start, "end": start + pd.Timedelta(minutes=minutes)})
    usual = {"kind": "steps", "steps": np.nan, "active_min": np.nan, "left_out": ""}
    frame = frame.assign(**usual | columns)
    return frame.assign(start_clock=start, file="activity.csv", row=np.arange(count) + 2)


def meals(count: int = 12, **columns: Any) -> pd.DataFrame:
    clock = pd.Timestamp("2026-03-01 08:00") + pd.to_timedelta(np.arange(count) * 5, unit="h")
    amounts = {"carbs_g": 50.0, "protein_g": 20.0, "fat_g": 15.0, "energy_kcal": 415.0}
    vary = np.arange(count)
    frame = pd.DataFrame({"time": clock, "clock": clock, **amounts})
    frame = frame.assign(carbs_g=50.0 + vary, left_out="", file="meals.csv", row=vary + 2)
    return frame.assign(**columns)


def looked(look: Any, frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    findings = Findings()
    return look(frame, findings), findings.items


def test_more_steps_than_anybody_takes_become_unknown() -> None:
    steps = np.arange(40) * 70 % 900 + 1.0
    frame = activity(15, steps=steps)
    assert looked(plausible_activity, frame)[1] == []
    frame.loc[7, "steps"] = 4600
    after, found = looked(plausible_activity, frame)
    assert [(item.code, item.row, item.column) for item in found] == [
        ("steps_too_many", 9, "steps")
    ]
    assert after["steps"].isna().to_numpy().nonzero()[0].tolist() == [7]


def test_a_running_total_of_steps_is_no_steps_of_a_block() -> None:
    day = np.cumsum(np.arange(64) % 4 * 60.0)
    frame = activity(15, 64, steps=day)
    after, found = looked(plausible_activity, frame)
    assert [(item.code, str(item.severity)) for item in found] == [
        ("steps_running_total", "question")
    ]
    assert after["steps"].isna().all()


def test_a_walk_of_half_a_day_is_asked_about_and_not_used() -> None:
    frame = activity(600, 3, kind="walking")
    frame.loc[0, "active_min"] = 90.0
    frame.loc[1, "kind"] = "still"
    after, found = looked(plausible_activity, frame)
    assert [(item.code, item.count) for item in found] == [("movement_too_long", 1)]
    assert after["left_out"].tolist() == ["", "", "over_8_hours_moving"]


def test_food_that_gives_more_than_its_energy_becomes_unknown() -> None:
    """50 g, 20 g and 15 g give 4 x 50 + 4 x 20 + 9 x 15 = 415 kcal (FAO 2003, table 3.1)."""
    frame = meals()
    assert looked(plausible_meals, frame)[1] == []
    frame.loc[4, "carbs_g"] = 450.0
    frame.loc[5, ["energy_kcal", "protein_g", "fat_g"]] = [100.0, np.nan, np.nan]
    after, found = looked(plausible_meals, frame)
    assert [(item.code, item.count) for item in found] == [("energy_too_small", 2)]
    assert after.loc[[4, 5], ["carbs_g", "energy_kcal"]].isna().all(axis=None)
    assert after.drop([4, 5])["carbs_g"].notna().all()


def test_energy_without_amounts_and_alcohol_are_no_contradiction() -> None:
    frame = meals(carbs_g=np.nan, protein_g=np.nan, fat_g=np.nan)
    assert looked(plausible_meals, frame)[1] == []
    frame = meals()
    frame.loc[[4, 5], "energy_kcal"] = 900.0
    assert looked(plausible_meals, frame)[1] == []


def test_kilojoules_are_asked_about() -> None:
    after, found = looked(plausible_meals, meals(energy_kcal=415 * 4.184))
    assert [(item.code, item.column) for item in found] == [("energy_unit", "energy_kcal")]
    assert after["energy_kcal"].isna().all()


def test_a_meal_of_more_than_400_g_of_carbohydrate_is_asked_about() -> None:
    frame = meals(energy_kcal=np.nan)
    frame.loc[3, "carbs_g"] = 450.0
    after, found = looked(plausible_meals, frame)
    assert [(item.code, str(item.severity)) for item in found] == [("carbs_too_many", "question")]
    assert after.loc[3, "carbs_g"] == 450


@pytest.mark.parametrize(("value", "unknown"), [(50.0, False), (0.0, True)])
def test_a_column_that_never_varies_is_asked_about(value: float, unknown: bool) -> None:
    findings = Findings()
    nothing = dict.fromkeys(("protein_g", "fat_g", "energy_kcal"), np.nan)
    after = never_varies("meals", meals(carbs_g=value, **nothing), findings)
    assert [(item.code, item.column, item.count) for item in findings.items] == [
        ("never_varies", "carbs_g", 12)
    ]
    assert after["carbs_g"].isna().all() == unknown
    few = Findings()
    never_varies("meals", meals(9), few)
    never_varies("tags", meals(), few)
    assert few.items == []


def test_nothing_used_is_nothing_looked_at() -> None:
    for look, frame in ((plausible_activity, activity(15)), (plausible_meals, meals())):
        assert looked(look, frame.assign(left_out="x"))[1] == []
