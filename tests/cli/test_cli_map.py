"""``miner map``: what is printed, what is asked, and what is written."""

from __future__ import annotations

import json
import os
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

DAYS = [f"{day:02d}/02/2026 {hour:02d}:{minute:02d}" for day in range(1, 4)
        for hour in range(24) for minute in (0, 30)]  # fmt: skip


@pytest.fixture
def client(tmp_path: Path) -> Path:
    folder = tmp_path / "practice" / "client-01"
    folder.mkdir(parents=True)
    rows = "".join(f"{time};5,4;S1\n" for time in DAYS)
    (folder / "sensor one.csv").write_text(f"an export\nWhen;Result;Device\n{rows}")
    rows = "".join(f"2026-02-0{day} 12:00,{word},x\n" for day in range(1, 9)
                   for word in ("Lunch", "Correction"))  # fmt: skip
    (folder / "food.csv").write_text(f"time,meal type,eaten\n{rows}")
    return folder


def sentences(text: str) -> list[str]:
    return re.split(r"(?<=[.?!])\s+|\n\n|\n {2,}", text)


def test_rows_are_shown_as_they_stand_and_as_they_are_read(client: Path, run: Any) -> None:
    result = run("map", str(client / "food.csv"))
    assert result.exit_code == 0
    assert '"food.csv" looks like meals: 16 rows.' in result.stdout
    assert 'Row 2, "2026-02-01 12:00,Lunch,x": 1 Feb 2026 at 12:00, x, Lunch.' in result.stdout
    assert result.stdout.endswith(f"To save it:\n  miner map {client}/food.csv --write\n")
    assert not (client / "sources.toml").exists()
    assert max(len(each.split()) for each in sentences(result.stdout)) <= 20


def test_what_cannot_be_decided_is_told_with_what_it_means(client: Path, run: Any) -> None:
    path = str(client / "sensor one.csv")
    result = run("map", path)
    said = " ".join(result.stdout.split())
    assert '--set "dates=day first" 144 dates from 1 Feb 2026 to 3 Feb 2026, at most 1 day' in said
    assert '--set "dates=month first" 144 dates from 2 Jan 2026 to 2 Mar 2026' in said
    assert "To decide first" in said
    refused = run("map", path, "--write")
    assert refused.exit_code == 2
    assert '--set "dates=day first", or --set "dates=month first"' in refused.output
    assert not (client / "sources.toml").exists()
    done = run("map", path, "--write", "--set", "dates=day first")
    assert "Saved in client-01/sources.toml." in done.stdout
    (entry,) = tomllib.loads((client / "sources.toml").read_text())["source"]
    assert entry["time_format"] == "%d/%m/%Y %H:%M"


def test_at_a_terminal_it_is_asked(client: Path, run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("miner.cli.map.at_a_terminal", lambda: True)
    result = run("map", str(client / "sensor one.csv"), typed="2\ny\n")
    assert result.exit_code == 0, result.output
    assert "Which comes first in a date such as 01/02/2026 00:00?" in result.output
    (entry,) = tomllib.loads((client / "sources.toml").read_text())["source"]
    assert entry["time_format"] == "%m/%d/%Y %H:%M"


def test_at_a_terminal_the_answer_proposed_needs_no_typing(
    client: Path, run: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("miner.cli.map.at_a_terminal", lambda: True)
    run("map", str(client / "food.csv"), "--write", typed="\n")
    (entry,) = tomllib.loads((client / "sources.toml").read_text())["source"]
    assert entry["meals"] == {"correction": "not_food"}


def test_it_is_taken_back(client: Path, run: Any) -> None:
    path = str(client / "food.csv")
    run("map", path, "--write")
    result = run("map", path, "--undo")
    assert result.stdout == "food.csv is not mapped any more in client-01/sources.toml.\n"
    assert (client / "sources.toml").read_text() == ""


def test_as_json_every_reason_is_a_code(client: Path, run: Any) -> None:
    found = json.loads(run("map", str(client / "food.csv"), "--format", "json").stdout)
    assert found["complete"] is True
    (one,) = found["proposals"]
    assert {item["code"] for item in one["known"]} >= {"time_column", "its_words", "iso"}


def test_an_answer_without_a_key_is_told(client: Path, run: Any) -> None:
    result = run("map", str(client / "food.csv"), "--set", "dates")
    assert result.exit_code == 2
    assert "KEY=VALUE" in result.output


def test_an_entry_that_would_be_refused_is_not_offered_to_be_saved(
    client: Path, run: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every row ends before it starts by the answers given: no --write is offered."""
    rows = "".join(f"2026-02-0{day} 23:00,2026-02-0{day + 1} 07:00,400\n" for day in range(1, 9))
    (client / "nights.csv").write_text(f"bedtime,got up,asleep\n{rows}")
    turned = ["--set", "columns.start=got up", "--set", "columns.end=bedtime"]
    result = run("map", str(client / "nights.csv"), *turned)
    assert "too many rows would be lost" in result.stdout
    assert "--write" not in result.stdout
    assert "--set columns.start=bedtime" in result.stdout
    monkeypatch.setattr("miner.cli.map.at_a_terminal", lambda: True)
    asked = run("map", str(client / "nights.csv"), *turned, typed="y\n")
    assert "Save it in this way?" not in asked.output
    assert not (client / "sources.toml").exists()


@pytest.mark.parametrize(
    ("answer", "expected"),
    [
        ("decimal=x", "--set decimal is 'x'. Expected '.' or ','."),
        ("skip_rows=-2", "--set skip_rows is '-2'. Expected a number of 0 or more"),
        ("skip_rows=abc", "--set skip_rows is 'abc'. Expected a whole number"),
        ("delimiter=xx", "--set delimiter is 'xx'. Expected one character"),
        ("encoding=klingon", "--set encoding is 'klingon'. Expected an encoding such as"),
        ("time_zone=Mars", "Expected a time zone such as 'Europe/Lisbon'"),
        ("columns=time", "--set columns is 'time'. Expected columns.KEY=VALUE"),
        ("units.carbs_g=q", "'carbs_g' in [units] is 'q'"),
        ("nonsense=1", "there is a key 'nonsense'"),
        ("worn=maybe", "--set worn is 'maybe'. Expected true or false"),
    ],
)
def test_an_answer_that_cannot_be_used_is_one_message_of_our_own(
    client: Path, run: Any, answer: str, expected: str
) -> None:
    result = run("map", str(client / "food.csv"), "--set", answer)
    assert result.exit_code == 2
    assert expected in result.output
    assert not any(word in result.output for word in ("Input should", "string_", "fault of"))


def test_a_name_that_is_no_text_is_to_be_changed(client: Path, run: Any) -> None:
    path = os.fsencode(client) + b"/food\xe9.csv"
    Path(os.fsdecode(path)).write_text("when,what\n2026-03-01T12:00,soup\n")
    result = run("map", os.fsdecode(path))
    assert result.exit_code == 2
    assert "Rename the file" in result.output
