"""What a ranking of meals could not use is told with its counts and its reason."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from miner import steps
from miner.cli.group import miner as commands

FIRST = np.datetime64("2026-03-01T00:00")
DAYS = 30


def at(minutes: float) -> str:
    return str(FIRST + np.timedelta64(int(minutes), "m"))


def client(folder: Path, meals: list[str], tags: str = "") -> Path:
    """Thirty days of readings every quarter of an hour, and these meals and tags."""
    folder.mkdir()
    times = range(0, DAYS * 1440, 15)
    rows = [f"{at(minute)},{100 + minute % 7}" for minute in times]
    (folder / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]) + "\n")
    (folder / "meals.csv").write_text("\n".join(["time,label", *meals]) + "\n")
    (folder / "tags.csv").write_text(f"time,tag\n{tags}")
    return folder


def rank(folder: Path) -> str:
    shown = CliRunner().invoke(commands, ["rank", str(folder), "--unit", "meal"])
    return " ".join(shown.stdout.split())


def test_an_outcome_cut_by_the_next_food_is_not_said_never_to_change(tmp_path: Path) -> None:
    every = range(1440, (DAYS - 1) * 1440, 60)  # a meal an hour; only the last is not cut
    folder = client(tmp_path / "client-01", [f"{at(minute)},food" for minute in every])
    text = rank(folder)
    assert "never changed" not in text
    assert "we know it on too few meals (1 of the 10 needed)." in text
    assert f"Known on 1 of {len(every)} meals that can be used: " in text
    told = f"Not known: {len(every) - 1} meals: the next food came before the 2 hours were over."
    assert text.count(told) == 1  # once for the four outcomes together


def test_meals_without_glucose_say_so_and_a_spelling_costs_nothing(tmp_path: Path) -> None:
    meals = [f"{at(1440 * day - 60 * 1440)},food" for day in range(28)]
    tags = "".join(
        f"{at(1440 * day)},{'meeting' if day % 2 else 'meetings'}\n" for day in range(20)
    )
    folder = client(tmp_path / "client-01", meals, tags)
    asked = [
        item.what for item in steps.read_client(folder).findings if item.severity == "question"
    ]
    assert any("may be one" in what for what in asked)
    text = rank(folder)
    assert re.search(r": 0 of \d+ meals could be used", text)
    assert "Left out: 28 meals: there are no glucose readings on that day." in text
    assert "may be one" not in text
    assert text.count("may cost days that could be used: ") == 1
    assert "with 0 days in common" in text


@pytest.mark.parametrize("unit", ["day", "meal"])
def test_only_dates_asked_for_are_counted(tmp_path: Path, unit: str) -> None:
    meals = [f"{at(1440 * day - 60 * 1440)},food" for day in range(28)]
    read = steps.read_client(client(tmp_path / "client-01", meals))
    found = steps.rank(read, unit=unit, last="2026-01-10", remember=False)
    told = [note for note in map(str, found.notes) if note.startswith("Left out: ")]
    expected = ["Left out: 11 meals: there are no glucose readings on that day."]
    assert told == (expected if unit == "meal" else [])
