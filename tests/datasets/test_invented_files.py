"""The files of invented clients: same bytes, contract columns, truth as recorded."""

import csv
import hashlib
import json
import tomllib
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from miner.core import resources
from miner.records.client_folder import read_client

invented = resources.invented()

# The columns of the contract, as its section on the client folder lists them.
CONTRACT = {
    "glucose": ({"time"}, {"glucose_mg_dl", "glucose_mmol_l", "sensor"}),
    "sleep": (
        {"start", "end"},
        {"asleep_min", "deep_min", "rem_min", "light_min", "awake_min", "awakenings", "kind"},
    ),
    "stress": ({"start", "end"}, {"level"}),
    "activity": ({"start", "end", "kind"}, {"intensity", "steps"}),
    "meals": (
        {"time", "label"},
        {"carbs_g", "protein_g", "fat_g", "fibre_g", "energy_kcal"},
    ),
    "tags": ({"time", "tag"}, set()),
}


def digest(folder):
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in files
    }


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def at(text):
    return datetime.fromisoformat(text)


def test_same_seed_same_bytes_and_another_seed_other_bytes(tmp_path):
    truths = [invented.write_practice(tmp_path / name, seed=5) for name in ("a", "b")]
    assert truths[0] == truths[1]
    assert digest(tmp_path / "a") == digest(tmp_path / "b")
    invented.write_practice(tmp_path / "c", seed=6)
    first, other = digest(tmp_path / "a"), digest(tmp_path / "c")
    assert first.keys() == other.keys()
    same = {name for name in first if first[name] == other[name]}
    assert all(name.endswith((".toml", "README.txt")) for name in same)
    assert all(b"\r" not in path.read_bytes() for path in (tmp_path / "a").rglob("*.csv"))


def test_clients_of_one_seed_differ_by_their_code(tmp_path):
    for code in ("client-01", "client-02"):
        invented.write_client(tmp_path / code, invented.Scenario(code, days=5))
    one, two = (digest(tmp_path / code) for code in ("client-01", "client-02"))
    assert all(one[name] != two[name] for name in one if name != "tags.csv")


@pytest.mark.parametrize("unit", ["mg/dL", "mmol/L"])
def test_columns_are_those_of_the_contract(tmp_path, unit):
    invented.write_client(tmp_path, invented.Scenario("client-01", days=5, unit=unit))
    for stream, (needed, allowed) in CONTRACT.items():
        with (tmp_path / f"{stream}.csv").open(encoding="utf-8") as file:
            columns = next(csv.reader(file))
        assert needed <= set(columns) <= needed | allowed, stream
    glucose = rows(tmp_path / "glucose.csv")
    column = "glucose_mg_dl" if unit == "mg/dL" else "glucose_mmol_l"
    assert all(("." in row[column]) == (unit == "mmol/L") for row in glucose)
    assert 1400 < len(glucose) < 1600
    gaps = {at(b["time"]) - at(a["time"]) for a, b in pairwise(glucose)}
    assert min(gaps) == timedelta(minutes=5)


def test_truth_is_never_inside_a_client_folder(tmp_path):
    truth = invented.write_practice(tmp_path)
    assert json.loads((tmp_path / "truth.json").read_text()) == truth
    for folder in tmp_path.iterdir():
        if folder.is_dir():
            assert not list(folder.glob("*truth*"))
            assert "effect" not in (folder / "client.toml").read_text()


def test_records_show_each_habit_as_the_rule_book_cuts_it(tmp_path):
    rules = tomllib.loads((resources.folder("rules") / "factors.toml").read_text())
    truth = invented.null_client(tmp_path, 11, 60, logging=1.0)
    days = {name: set(dates) for name, dates in truth["happened"].items()}
    last = (datetime(2026, 1, 12) + timedelta(days=60)).date().isoformat()
    nights = {row["end"][:10]: row for row in rows(tmp_path / "sleep.csv") if row["kind"] == "main"}
    nights.pop(last, None)
    for day, row in nights.items():
        asleep, awake = int(row["asleep_min"]), int(row["awake_min"])
        assert (asleep < 60 * rules["short_sleep"]["at"]) == (day in days["short_sleep"])
        share = awake / (asleep + awake)
        assert (share >= rules["broken_sleep"]["at"]) == (day in days["broken_sleep"])
        stages = sum(int(row[name]) for name in ("deep_min", "rem_min", "light_min"))
        assert stages == asleep
    meals = rows(tmp_path / "meals.csv")
    dinners = {row["time"][:10]: row for row in meals if row["label"].startswith("dinner")}
    assert len(dinners) > 50
    for day, row in dinners.items():
        assert (row["time"][11:13] >= str(rules["late_dinner"]["at"])) == (
            day in days["late_dinner"]
        )
        if row["carbs_g"]:
            high = float(row["carbs_g"]) >= rules["high_carb_dinner"]["at"]
            assert high == (day in days["high_carb_dinner"])
    stress = {}
    for row in rows(tmp_path / "stress.csv"):
        minutes = (at(row["end"]) - at(row["start"])).total_seconds() / 60
        stress[row["start"][:10]] = stress.get(row["start"][:10], 0) + minutes
    for day, minutes in stress.items():
        assert (minutes >= rules["much_stress"]["at"]) == (day in days["much_stress"])


def test_walks_follow_the_logged_dinner_within_the_hour(tmp_path):
    truth = invented.null_client(tmp_path, 12, 60, logging=1.0)
    walks = [row for row in rows(tmp_path / "activity.csv") if row["kind"] == "walking"]
    meals = rows(tmp_path / "meals.csv")
    for row in meals:
        if not row["label"].startswith("dinner"):
            continue
        after = [
            walk
            for walk in walks
            if timedelta(0) <= at(walk["start"]) - at(row["time"]) <= timedelta(minutes=60)
        ]
        said = row["time"][:10] in truth["happened"]["walk_after_dinner"]
        assert not after or said
        for walk in after:
            assert at(walk["end"]) - at(walk["start"]) >= timedelta(minutes=10)


def test_logging_fades_and_tags_are_misspelt(tmp_path):
    scenario = invented.Scenario("client-01", days=200, fading=0.8, misspelt=0.5)
    truth = invented.write_client(tmp_path, scenario)
    noted = {row["time"][:10] for row in rows(tmp_path / "meals.csv")}
    days = [(datetime(2026, 1, 12) + timedelta(days=k)).date().isoformat() for k in range(200)]
    early, late = (np.mean([day in noted for day in part]) for part in (days[:50], days[-50:]))
    assert early > 0.7
    assert late < 0.5
    written = {row["tag"] for row in rows(tmp_path / "tags.csv")}
    words = {name.removeprefix("tag:") for name in truth["happened"] if name.startswith("tag:")}
    assert written - words
    settings = tomllib.loads(invented.practice.practice_toml([scenario]))
    folded = {" ".join(tag.lower().split()) for tag in written}
    assert {settings["synonyms"].get(tag, tag) for tag in folded} == words


def test_sensor_changes_are_in_the_settings(tmp_path):
    invented.null_client(tmp_path, 1, 35)
    settings = tomllib.loads((tmp_path / "client.toml").read_text())
    glucose = rows(tmp_path / "glucose.csv")
    assert len(settings["sensor_changes"]) == 2
    for number, change in enumerate(settings["sensor_changes"], start=1):
        first = next(row for row in glucose if at(row["time"]) >= change)
        last = [row for row in glucose if at(row["time"]) < change][-1]
        assert (last["sensor"], first["sensor"]) == (f"sensor-{number}", f"sensor-{number + 1}")


def test_messy_files_fit_their_sources_and_hold_the_promised_faults(tmp_path):
    truth = invented.write_practice(tmp_path)
    folder = tmp_path / "client-04"
    sources = tomllib.loads((folder / "sources.toml").read_text())["source"]
    assert {source["stream"] for source in sources} == set(CONTRACT)
    text = {}
    for source in sources:
        (path,) = folder.glob(source["file"])
        lines = path.read_bytes().decode(source.get("encoding", "utf-8-sig")).splitlines()
        lines = lines[source.get("skip_rows", 0) :]
        cells = [line.split(source.get("delimiter", ",")) for line in lines]
        named = list(source["columns"].values()) + list(source.get("where", {}))
        assert set(named) <= set(cells[0])
        assert {len(row) for row in cells} == {len(cells[0])}
        text[source["stream"]] = cells
    glucose = text["glucose"]
    values = [row[1] for row in glucose[1:]]
    assert {"LO", "HI", "??", "n/a", "5,l", ""} <= set(values)
    assert sum("," in value for value in values) > 3000
    assert sum("/2062" in row[0] for row in glucose) == 1
    assert len({tuple(row) for row in glucose}) <= len(glucose) - 24
    assert sum("/1926" in row[0] for row in text["meals"]) == 1
    nights = [(row[0], row[1]) for row in text["sleep"][1:]]
    assert len(nights) - len(set(nights)) == 1
    assert any(row[-1] == "nap" for row in text["sleep"])
    assert {"-1", "4"} <= {row[1] for row in text["stress"]}
    assert truth["clients"]["client-04"]["effects"][0]["factor"] == "short_sleep"


def test_the_demo_practice_holds_what_it_promises(tmp_path):
    found = invented.write_practice(tmp_path)["clients"]
    assert [len(one["effects"]) for one in found.values()] == [2, 0, 1, 1, 1, 0]
    assert found["client-02"]["nothing_true"]
    assert found["client-03"]["days"] == 12
    assert found["client-05"]["together"] == [["late_dinner", "tag:wine"]]
    high = [float(row["glucose_mg_dl"]) for row in rows(tmp_path / "client-06" / "glucose.csv")]
    assert max(high) >= 200
    assert tomllib.loads((tmp_path / "practice.toml").read_text())["display_unit"] == "mg/dL"
    assert "invented" in (tmp_path / "README.txt").read_text()


def test_every_client_of_the_demo_can_be_read_and_the_messy_faults_are_told(tmp_path):
    invented.write_practice(tmp_path)
    for folder in sorted(tmp_path.glob("client-*")):
        client = read_client(folder)
        assert all(len(client.used(stream)) for stream in CONTRACT), folder.name
        assert all(finding.severity != "stop" for finding in client.findings)
    messy = read_client(tmp_path / "client-04")
    told = {(finding.file, finding.severity) for finding in messy.findings}
    assert {("food-diary.csv", "left_out"), ("nights.csv", "note")} <= told
    assert set(messy.streams["glucose"]["censored"]) == {-1, 0, 1}
    assert (messy.streams["sleep"]["kind"] == "nap").any()


def test_a_practice_of_any_size(tmp_path):
    many = invented.scenarios(24, days=6, seed=2)
    assert many == invented.scenarios(24, days=6, seed=2)
    assert many != invented.scenarios(24, days=6, seed=3)
    truth = invented.write_practice(tmp_path, many)
    assert len(truth["clients"]) == 24
    assert {path.name for path in tmp_path.iterdir() if path.is_dir()} == set(truth["clients"])
    assert 3 < sum(bool(one["effects"]) for one in truth["clients"].values()) < 21


def test_days_that_are_recorded_later_change_no_earlier_row(tmp_path):
    whole = invented.Scenario("client-01", 60, seed=3)
    invented.write_client(tmp_path / "first", replace(whole, recorded_days=30))
    invented.write_client(tmp_path / "later", whole)
    for path in sorted((tmp_path / "first").glob("*.csv")):
        first, later = (
            (tmp_path / name / path.name).read_text("utf-8").splitlines()
            for name in ("first", "later")
        )
        assert len(first) < len(later)
        assert later[: len(first)] == first, path.name
