"""From readings that call for a laboratory to a test that is read, command by command."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from datasets.invented import Effect, Habit, Scenario, usual_habits, write_client
from miner import ledger

ONE = timedelta(days=1)
FIRST_MONTH = 42
TODAY = date.today()
START = TODAY - (FIRST_MONTH + TODAY.weekday()) * ONE
"""A Monday, so that the same weekends fall into the records whatever day it is."""
BEGIN = TODAY + ONE
ASKED = ("diabetes", "insulin", "medicines", "pregnancy", "eating_disorder", "sleep_apnoea", "lows")
SCENARIO = Scenario(
    "client-01",
    FIRST_MONTH + 75,
    start=START,
    recorded_days=FIRST_MONTH,
    base=104.0,
    level_sd=2.0,
    sensor_sd=1.0,
    meal_size=0.6,
    effects=(Effect("short_sleep", "wake_glucose", 18.0),),
    habits=usual_habits() | {"short_sleep": Habit(0.5)},
    intake=dict.fromkeys(ASKED, "no"),
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_client(tmp_path / "p" / "client-01", SCENARIO)
    return tmp_path / "p" / "client-01"


@pytest.fixture
def do(run: Any, folder: Path) -> Callable[..., str]:
    """Run a command on the client and return what it says, in one line; 2 is a refusal."""

    def of(command: str, *words: str, code: int = 0) -> str:
        result = run(command, str(folder), *words)
        assert result.exit_code == code, result.output
        return " ".join((result.stderr if code else result.stdout).split())

    return of


def ranked(do: Callable[..., str]) -> str:
    """Rank the client; return the ID of short nights before waking glucose."""
    found = json.loads(do("rank", "--format", "json", "--draws", "100"))["hypotheses"]
    wanted = (["short_sleep"], "wake_glucose")
    return next(one["id"] for one in found if (one["factors"], one["outcome"]) == wanted)


def grown(folder: Path, plan: dict[str, Any], until: date) -> None:
    """Let the client do what was planned up to a day, and write the records up to it."""
    nights = {}
    for period in plan["periods"]:
        day = date.fromisoformat(period["from"])
        while day.isoformat() <= period["to"]:
            nights[day + ONE] = period["arm"] == "usual"
            day += ONE
    days = (until - START).days
    lived = replace(SCENARIO, recorded_days=days, followed={"short_sleep": nights})
    settings = (folder / "client.toml").read_text()
    write_client(folder, lived)
    (folder / "client.toml").write_text(settings)


def test_wake_readings_of_126_to_a_read_test(do: Callable[..., str], folder: Path) -> None:
    id_ = ranked(do)
    begin = ("--start", BEGIN.isoformat(), "--length", "middle")

    refused = do("plan", id_, *begin, code=2)
    assert refused == (
        f"{folder.name}: no test about sleep can be planned yet. Why: glucose was 126 mg/dL or "
        "more at waking on 8 days. What lifts it: tell the client to see a clinician, then note "
        f"the date. miner note {folder} --informed DATE "
        "That opens tests about sleep, stress, movement and meals."
    )
    assert {one.event for one in ledger.read(folder).events} == {"ranked", "numbered"}

    told = do("note", "--informed", TODAY.isoformat())
    assert "Tests of sleep, stress, movement and meals can be planned now." in told
    plan = json.loads(do("plan", id_, *begin, "--format", "json"))

    grown(folder, plan, date.fromisoformat(plan["read_on"]) + 2 * ONE)
    assert "all as planned" not in do("note", "--ticks", "all as planned")
    read = do("result", plan["plan"])
    assert "It changed when" in read
    assert "paused" not in read
    assert ledger.read(folder).events[-1].event == "verdict"


def test_a_caution_in_the_middle_of_a_test_pauses_it(do: Callable[..., str], folder: Path) -> None:
    id_ = ranked(do)
    do("note", "--informed", TODAY.isoformat())
    plan = json.loads(
        do("plan", id_, "--start", BEGIN.isoformat(), "--length", "middle", "--format", "json")
    )
    name, third = plan["plan"], date.fromisoformat(plan["periods"][4]["from"])
    grown(folder, plan, date.fromisoformat(plan["read_on"]) + 2 * ONE)
    raised(folder, third)

    why = "Paused: 200 mg/dL or more on 1 day ("
    before = (folder / "ledger.jsonl").read_bytes()
    told = do("result", name)
    assert "The test is paused. Ticks and records are kept" in told
    assert why in told
    # a long path is broken where the line ends
    assert f"miner note {folder} --informed DATE.".replace(" ", "") in told.replace(" ", "")
    assert why in do("follow")
    assert f"Test {name}. {why}" in do("check", "--week")
    assert "day not counted (the test is paused)" in do("day", third.isoformat())
    assert "is paused and is not read now" in do("result", name, "--stopped", code=2)
    assert (folder / "ledger.jsonl").read_bytes().startswith(before)
    assert not ledger.named(ledger.read(folder), "verdict")


def raised(folder: Path, day: date) -> None:
    """Put a reading of 205 mg/dL at the first one after noon of a day."""
    path = folder / "glucose.csv"
    text, count = re.subn(
        rf"^({day.isoformat()}T12:\d\d[^,]*),[^,\n]+",
        r"\1,205",
        path.read_text(),
        count=1,
        flags=re.M,
    )
    assert count == 1
    path.write_text(text)
