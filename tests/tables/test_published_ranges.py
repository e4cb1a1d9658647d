"""Published ranges, for description: boundaries, CV, and the table of cut points."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from miner.tables import cautions, tabulate
from miner.tables.glucose.published import published
from miner.tables.glucose.trace import Windows, trace_of

REFERENCE = Path(__file__).parents[2] / "datasets" / "reference"


def rows(name):
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def of(make, sensed):
    """Return what is published of one window of readings five minutes apart."""

    def one(values):
        trace = trace_of(make(sensed("2026-03-01", values)))
        begin = int(pd.Timestamp("2026-03-01").timestamp())
        window = Windows.over(trace, np.array([begin]), np.array([begin + 86_400]))
        return {name: found[0] for name, found in published(window).items()}

    return one


# A-TIR of a_hand_examples.csv: ten readings on the limits of the consensus ranges (Battelino et
# al. 2019, Diabetes Care 42:1593; 70-140 after Shah et al. 2019). Shares we do not print follow
# by subtraction: 54-69 is below 70 less below 54, 181-250 is above 180 less above 250.
def test_readings_on_the_limits(of):
    cases = [row for row in rows("a_hand_examples.csv") if row["metric"] == "TIR"]
    values = [float(text) for text in cases[0]["inputs"].split(" mg/dL")[0].split()]
    told = {row["quantity"]: float(row["expected"]) for row in cases}
    got = of(values)
    assert got["readings"] == 10
    assert 100 * got["below_54"] == pytest.approx(told["below_54_percent"])
    low = told["below_54_percent"] + told["54_69_percent"]
    assert 100 * got["below_70"] == pytest.approx(low)
    assert 100 * got["in_70_180"] == pytest.approx(told["70_180_percent"])
    assert 100 * got["in_70_140"] == pytest.approx(told["70_140_percent"])
    high = told["181_250_percent"] + told["above_250_percent"]
    assert 100 * got["above_180"] == pytest.approx(high)
    assert 100 * got["above_140"] == pytest.approx(100 - low - told["70_140_percent"])


def test_the_coefficient_of_variation(of):
    # A-CV of a_hand_examples.csv: 90 100 110 100, mean 100, SD with n - 1.
    case = next(row for row in rows("a_hand_examples.csv") if row["metric"] == "CV")
    got = of([90, 100, 110, 100])
    assert got["mean"] == 100
    assert 100 * got["cv"] == pytest.approx(float(case["expected"]), abs=1e-6)


def test_the_limits_are_those_of_the_cut_point_table(of):
    in_range = next(row for row in rows("a_cutpoints.csv") if row["meaning"].startswith("in range"))
    low, high = float(in_range["lower"]), float(in_range["upper"])
    assert of([low])["in_70_180"] == 1
    assert of([high])["in_70_180"] == 1
    assert of([low - 0.01])["below_70"] == 1
    assert of([high + 0.01])["above_180"] == 1
    level_2 = next(
        row for row in rows("a_cutpoints.csv") if row["meaning"].startswith("level 2 low")
    )
    assert of([float(level_2["upper"].lstrip("<"))])["below_54"] == 0
    assert of([float(level_2["upper"].lstrip("<")) - 0.1])["below_54"] == 1


def test_a_day_without_readings_has_no_shares(of):
    got = of([])
    assert got["readings"] == 0
    assert np.isnan(got["mean"])
    assert np.isnan(got["in_70_140"])


def test_the_day_table_carries_them(make, sensed, rules):
    glucose = sensed("2026-03-01", np.full(3 * 288, 100.0))
    above = (glucose["clock"] >= "2026-03-02 12:00") & (glucose["clock"] < "2026-03-02 15:00")
    glucose.loc[above, "glucose"] = 150.0
    day = tabulate(make(glucose), rules, "day").context.loc["2026-03-02"]
    assert day["readings"] == 288
    assert day["above_140"] == pytest.approx(3 / 24)
    assert day["in_70_140"] == pytest.approx(21 / 24)
    assert day["mean"] == pytest.approx(100 + 50 * 3 / 24)


# The sources print each limit in both units: 54, 70, 140, 180, 200 mg/dL are 3.0, 3.9, 7.8, 10.0
# and 11.1 mmol/L (A-RANGE, A-DIAG); 7.8 x 18.0156 alone would be 140.52, above 140.
@pytest.mark.parametrize(
    ("mmol", "column", "share"),
    [
        (7.8, "above_140", 0),
        (7.9, "above_140", 1),
        (10.0, "above_180", 0),
        (10.1, "above_180", 1),
        (3.9, "below_70", 0),
        (3.8, "below_70", 1),
        (3.0, "below_54", 0),
        (2.9, "below_54", 1),
    ],
)
def test_limits_are_those_of_the_unit_the_sensor_showed(make, sensed, rules, mmol, column, share):
    values = np.full(3 * 288, mmol * 18.0156)
    values[:6] = 101.3  # a few with more decimals change nothing
    table = tabulate(make(sensed("2026-03-01", values, unit="mmol/L")), rules, "day")
    assert table.context.loc["2026-03-02", column] == share
    if column == "above_140":
        assert table.frame.loc["2026-03-02", "minutes_above"] == share * 1440


def test_a_file_in_whole_mg_is_not_taken_for_mmol(make, sensed, rules):
    # 140.52168 is 7.8 mmol/L, and in a file of mg/dL above 140 all the same
    for value in (141.0, 7.8 * 18.0156):
        glucose = sensed("2026-03-01", np.where(np.arange(3 * 288) % 2, 100.0, value))
        table = tabulate(make(glucose), rules, "day")
        assert table.frame.loc["2026-03-02", "minutes_above"] == 720


def test_eleven_point_one_mmol_refers_as_two_hundred_does(make, sensed, rules):
    client = make(sensed("2026-03-01", np.full(288, 11.1 * 18.0156), unit="mmol/L"))
    said, _ = cautions(client, tabulate(client, rules, "day"), rules)
    assert any("200 mg/dL or more on 1 day" in item.text for item in said)


def test_the_ranges_of_all_days_are_those_of_each(make, sensed, slept, rules):
    chance = np.random.default_rng(8)
    values = chance.normal(120, 40, 6 * 288).clip(40, 300)
    glucose = sensed("2026-03-01", values)
    glucose["censored"] = np.where(chance.random(len(glucose)) < 0.02, 1, 0).astype(np.int8)
    glucose = glucose[chance.random(len(glucose)) > 0.2].reset_index(drop=True)
    client = make(glucose, sleep=slept("2026-03-01", 6))
    table, trace = tabulate(client, rules, "day"), trace_of(client)
    for day, row in table.frame.iterrows():
        inside = (trace.clock >= row["start"].timestamp()) & (trace.clock < row["end"].timestamp())
        minutes, seen = trace.minutes[inside], trace.ordered[inside]
        whole, shown = minutes.sum(), np.isfinite(seen)
        mean = np.average(seen[shown], weights=minutes[shown])
        variance = np.average((seen[shown] - mean) ** 2, weights=minutes[shown])
        sd = np.sqrt(variance * shown.sum() / (shown.sum() - 1))
        expected = {
            "readings": seen.size,
            "in_70_140": minutes[(seen >= 70) & (seen <= 140)].sum() / whole,
            "in_70_180": minutes[(seen >= 70) & (seen <= 180)].sum() / whole,
            "above_140": minutes[seen > 140].sum() / whole,
            "above_180": minutes[seen > 180].sum() / whole,
            "below_70": minutes[seen < 70].sum() / whole,
            "below_54": minutes[seen < 54].sum() / whole,
            "mean": mean,
            "sd": sd,
            "cv": sd / mean,
        }
        assert table.context.loc[day].to_dict() == pytest.approx(expected, nan_ok=True)
