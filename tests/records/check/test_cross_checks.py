"""Streams of one client held against each other, in files as they are read."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from datasets.invented.export import write_client
from datasets.invented.practice import scenarios
from miner.core.results import Finding
from miner.records import read_client

STREAM_TIMES = ("time", "start", "end")


@pytest.fixture(scope="module")
def month(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("month")
    write_client(folder, scenarios(1, 35, 3)[0])
    return folder


def shifted(folder: Path, to: Path, stream: str, by: pd.Timedelta) -> list[Finding]:
    """Return what is asked about clocks and days where one file is shifted."""
    to.mkdir(exist_ok=True)
    for path in folder.iterdir():
        frame = pd.read_csv(path, dtype=str) if path.suffix == ".csv" else None
        if frame is None:
            (to / path.name).write_bytes(path.read_bytes())
            continue
        if path.stem == stream:
            for name in set(STREAM_TIMES) & set(frame.columns):
                moved = pd.to_datetime(frame[name], format="ISO8601") + by
                frame[name] = moved.dt.strftime("%Y-%m-%dT%H:%M:%S").where(frame[name].notna())
        frame.to_csv(to / path.name, index=False)
    return asked(to)


def asked(folder: Path) -> list[Finding]:
    found = read_client(folder).findings
    return [item for item in found if item.code in ("clock_apart", "days_apart")]


def test_a_month_whose_streams_agree_asks_nothing(month: Path) -> None:
    assert asked(month) == []


@pytest.mark.parametrize(
    ("stream", "hours", "told_of"),
    [
        ("activity", 2, "activity"), ("activity", -5, "activity"), ("sleep", 3, "sleep"),
        ("sleep", 12, "sleep"), ("meals", -2, "meals"), ("meals", 5, "meals"),
        ("glucose", 4, "meals"),
    ],
)  # fmt: skip
def test_a_stream_whose_clock_is_off_is_named_with_the_shift(
    month: Path, tmp_path: Path, stream: str, hours: int, told_of: str
) -> None:
    found = shifted(month, tmp_path, stream, pd.Timedelta(hours=hours))
    assert [item.code for item in found] == ["clock_apart"]
    (item,) = found
    assert item.stream == told_of
    expected = -hours if stream == told_of else hours
    minutes = float(item.values["shift_min"])
    assert abs((minutes - 60 * expected + 720) % 1440 - 720) <= 45
    assert item.what.count("later" if minutes > 0 else "earlier") == 1
    assert (item.severity, item.file) == ("question", f"{told_of}.csv")


@pytest.mark.parametrize("stream", ["sleep", "activity", "stress", "meals", "tags"])
def test_a_stream_a_year_off_is_told(month: Path, tmp_path: Path, stream: str) -> None:
    found = shifted(month, tmp_path, stream, pd.Timedelta(days=-365))
    assert [(item.code, item.stream) for item in found] == [("days_apart", stream)]
    assert found[0].values["shift_days"] in (365, 366)
    assert "365 days later they would meet" in found[0].what


def test_a_stream_that_meets_on_some_days_is_no_question(month: Path, tmp_path: Path) -> None:
    assert shifted(month, tmp_path, "meals", pd.Timedelta(days=-10)) == []


@pytest.mark.prove
def test_a_hundred_months_that_agree_ask_in_at_most_one(tmp_path: Path) -> None:
    told = []
    for one in scenarios(100, 35, 11):
        write_client(tmp_path / one.code, one)
        told.append(bool(asked(tmp_path / one.code)))
    assert len(told) == 100
    assert sum(told) <= 1
