"""The commands over the real steps, on one invented client of twelve days."""

from __future__ import annotations

import csv
import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from miner.core import resources


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A client with too few days to rank."""
    folder = tmp_path_factory.mktemp("practice") / "client-03"
    invented = resources.invented()
    (short,) = (one for one in invented.demo_scenarios() if one.code == folder.name)
    invented.write_client(folder, short)
    return str(folder)


def test_a_folder_that_is_not_there_is_bad_input(run: Any, tmp_path: Path) -> None:
    for command in ("check", "days", "rank"):
        result = run(command, str(tmp_path / "nobody"))
        assert (result.exit_code, result.stdout) == (2, "")
        assert "nobody" in result.stderr
        assert result.stderr.count("\n") == 1


def test_too_few_days_are_told_with_three(run: Any, client: str) -> None:
    result = run("rank", client, "--format", "json")
    found = json.loads(result.stdout)
    assert (result.exit_code, result.stderr) == (3, "")
    assert found["hypotheses"] == []
    assert found["usable_units"] < 20
    more = 20 - found["usable_units"]
    assert f"Too few days to look for patterns: 20 are needed, so {more} more." in (
        run("rank", client).stdout
    )


def test_an_outcome_that_does_not_exist_is_bad_input(run: Any, client: str) -> None:
    result = run("rank", client, "--outcome", "wake_glucse")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "A day has no glucose measure 'wake_glucse'" in result.stderr
    assert "Did you mean 'wake_glucose'?" in result.stderr


def test_check_and_days_agree_on_the_usable_days(run: Any, client: str) -> None:
    report = json.loads(run("check", client, "--format", "json").stdout)
    table = json.loads(run("days", client, "--format", "json").stdout)
    rows = list(csv.DictReader(StringIO(run("days", client, "--format", "csv").stdout)))
    usable = sum(row["usable"] == "1" for row in rows)
    assert report["usable_days"] == table["usable_units"] == usable
    assert [row["date"] for row in rows] == [row["date"] for row in table["rows"]]
    assert {row[name] for row in rows for name in table["factors"]} <= {"1", "0", ""}
    assert run("check", client).exit_code == run("days", client).exit_code == 0


def test_a_check_that_must_be_put_right_first_says_so_and_exits_with_two(
    run: Any, tmp_path: Path
) -> None:
    rows = [f"2026-03-02T08:{minute:02d},5.{minute}" for minute in range(10, 60, 5)]
    (tmp_path / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]))
    told = run("check", str(tmp_path))
    assert told.exit_code == 2
    assert told.stdout.index("To correct first\n") < told.stdout.index("can be used")
    plain = run("check", str(tmp_path), "--format", "json")
    assert plain.exit_code == 2
    assert json.loads(plain.stdout)["findings"][0]["severity"] == "stop"


def test_the_history_needs_the_ledger_alone(run: Any, tmp_path: Path) -> None:
    folder = tmp_path / "practice" / "client-09"
    folder.mkdir(parents=True)
    (folder.parent / "practice.toml").write_text("")
    empty = run("history", str(folder))
    assert (empty.exit_code, empty.stdout.splitlines()[-1]) == (0, "Nothing is written down yet.")
    words = ("--factor", "short_sleep", "--outcome", "wake_glucose", "--fix", "--guess", "up")
    assert run("ask", str(folder), *words).exit_code == 0
    told = run("history", str(folder))
    assert (told.exit_code, told.stderr) == (0, "")
    assert "client-09: 0 searches so far, 1 question written down." in told.stdout
    said = "written down about a short night and waking glucose, with the guess that it is higher."
    assert said in " ".join(told.stdout.split())
    for other, words in ((folder / "nobody", "no such folder"), (folder.parent, "a practice")):
        refused = run("history", str(other))
        assert (refused.exit_code, refused.stdout) == (2, "")
        assert words in refused.stderr
