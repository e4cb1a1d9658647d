"""Two people: the same readings in two client folders, and two traces in one file."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from miner import steps
from miner.core.messages import MinerError
from miner.records.check.one_person import day_prints, same_days

DAYS = 6


def trace(
    seed: int, base: float, days: int = DAYS, minute: int = 0, every: int = 5
) -> pd.DataFrame:
    """Readings of one person: a smooth day and some noise."""
    clock = pd.date_range(
        f"2026-03-01 00:{minute:02d}", periods=days * 1440 // every, freq=f"{every}min"
    )
    at = np.arange(len(clock)) * every / 1440
    noise = np.random.default_rng(seed).normal(0, 2, len(clock))
    value = base + 25 * np.sin(2 * np.pi * at * 3) + noise
    return pd.DataFrame({"time": clock.strftime("%Y-%m-%dT%H:%M"), "glucose_mg_dl": value.round()})


def client(practice: Path, name: str, frame: pd.DataFrame, code: str | None = None) -> Path:
    folder = practice / name
    folder.mkdir(parents=True)
    frame.to_csv(folder / "glucose.csv", index=False)
    (folder / "client.toml").write_text(f'code = "{code or name}"\n')
    return folder


def stops(folder: Path) -> list[str]:
    found = steps.read_client(folder).findings
    return [
        f"{item.code} {item.values.get('other', '')}" for item in found if item.severity == "stop"
    ]


@pytest.fixture
def practice(tmp_path: Path) -> Path:
    (tmp_path / "practice.toml").write_text("")
    client(tmp_path, "client-01", trace(1, 105))
    client(tmp_path, "client-02", trace(2, 110))
    return tmp_path


def test_two_clients_with_the_same_readings_are_both_stopped(practice: Path) -> None:
    shared = pd.concat([trace(3, 120, 4), trace(1, 105).iloc[4 * 288 :]])
    client(practice, "client-03", shared)
    assert stops(practice / "client-02") == []
    assert stops(practice / "client-01") == ["same_readings client-03"]
    assert stops(practice / "client-03") == ["same_readings client-01"]
    with pytest.raises(MinerError, match="the readings of 2 days, 2026-03-05 to 2026-03-06"):
        steps.days(steps.read_client(practice / "client-01"))


def test_a_client_without_a_reading_that_can_be_used_is_reported_as_before(practice: Path) -> None:
    path = practice / "client-01" / "glucose.csv"
    path.write_text(path.read_text().replace("2026-", "someday-"))
    found = list(steps.read_client(practice / "client-01").findings)
    assert next(item.what for item in found if item.severity == "stop").startswith("no time in")


def test_a_copy_of_a_client_is_no_second_person(practice: Path) -> None:
    client(practice, "copy of client-01", trace(1, 105), code="client-01")
    assert stops(practice / "client-01") == []
    assert stops(practice / "copy of client-01") == []


def test_a_file_that_stands_twice_in_one_folder_is_no_second_person(practice: Path) -> None:
    own = practice / "client-01"
    shutil.copy(own / "glucose.csv", own / "glucose-2.csv")
    assert stops(own) == []


def test_folders_without_a_practice_are_not_held_against_each_other(tmp_path: Path) -> None:
    client(tmp_path, "a", trace(1, 105))
    client(tmp_path, "b", trace(1, 105))
    assert stops(tmp_path / "a") == []


def test_the_same_spreadsheet_in_two_folders_is_found(practice: Path) -> None:
    pytest.importorskip("openpyxl")
    mapping = '[[source]]\nfile = "sensor.xlsx"\nstream = "glucose"\n[source.columns]\n'
    mapping += 'time = "time"\nglucose_mg_dl = "glucose_mg_dl"\n'
    for name in ("client-04", "client-05"):
        folder = practice / name
        folder.mkdir()
        (folder / "sources.toml").write_text(mapping)
    frame = trace(9, 100)
    frame["time"] = pd.to_datetime(frame["time"])
    frame.to_excel(practice / "client-04" / "sensor.xlsx", index=False)
    shutil.copy(practice / "client-04" / "sensor.xlsx", practice / "client-05")
    assert stops(practice / "client-04") == ["same_readings client-05"]


def test_flat_or_short_days_tell_of_nobody() -> None:
    frame = trace(1, 100)
    stream = pd.DataFrame(
        {"clock": pd.to_datetime(frame["time"]), "glucose": frame["glucose_mg_dl"]}
    )
    prints = day_prints(stream)
    assert len(prints) == DAYS
    assert same_days(prints, day_prints(stream.iloc[::-1])) == list(prints)
    assert day_prints(stream.assign(glucose=100.0)) == {}
    assert day_prints(stream.iloc[:23]) == {}
    assert day_prints(stream.iloc[:0]) == {}
    assert same_days(prints, day_prints(stream.assign(glucose=stream["glucose"] + 1))) == []


@pytest.mark.parametrize("minute", [2, 0])
def test_two_traces_mixed_in_one_file_stop_it(tmp_path: Path, minute: int) -> None:
    both = pd.concat([trace(1, 100), trace(2, 170, minute=minute)]).sort_values(
        "time", kind="stable"
    )
    folder = client(tmp_path, "client-01", both)
    assert stops(folder) == ["two_in_one_file " if minute else "two_values "]
    report = steps.check(steps.read_client(folder))
    assert report.usable_days == 0


def test_a_trace_that_is_mixed_for_some_days_stops_it(tmp_path: Path) -> None:
    some = trace(2, 170, 2, minute=2)
    both = pd.concat([trace(1, 100, 40), some]).sort_values("time", kind="stable")
    folder = client(tmp_path, "client-01", both)
    (found,) = [item for item in steps.read_client(folder).findings if item.severity == "stop"]
    assert found.code == "two_in_one_file"
    assert found.days == ("2026-03-01", "2026-03-02")


def test_a_restless_sensor_is_a_question(tmp_path: Path) -> None:
    frame = trace(1, 120, 10)
    frame.loc[np.arange(50, len(frame), 60), "glucose_mg_dl"] += 45
    folder = client(tmp_path, "client-01", frame)
    assert stops(folder) == []
    assert "fast_change" in [item.code for item in steps.read_client(folder).findings]
