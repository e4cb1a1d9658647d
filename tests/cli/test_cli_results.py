from __future__ import annotations

import csv
import json
from dataclasses import replace
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from miner.render.terminal import render
from miner.render.values import table_csv
from miner.words.check import check_parts
from miner.words.days import days_parts
from miner.words.ranking import ranking_parts


def test_check_prints_text_for_people(steps: Any, run: Any) -> None:
    result = run("check", "client-07")
    assert result.exit_code == 0
    assert result.stdout == render(check_parts(steps.report, steps.books))
    assert result.stderr == ""


def test_check_prints_json(steps: Any, run: Any) -> None:
    found = json.loads(run("check", "client-07", "--format", "json").stdout)
    assert found == steps.report.to_dict()
    assert found["findings"][1]["row"] == 41


def test_days_prints_each_form(steps: Any, run: Any) -> None:
    text = render(days_parts("client-07", steps.table, steps.books))
    assert run("days", "client-07").stdout == text
    assert run("days", "client-07", "--format", "csv").stdout == table_csv(steps.table)
    rows = json.loads(run("days", "client-07", "--format", "json").stdout)["rows"]
    assert [row["short_sleep"] for row in rows] == [1, None, 0]


def test_rank_prints_text_in_the_clients_unit(steps: Any, run: Any) -> None:
    steps.display_unit = "mmol/L"
    result = run("rank", "client-07", "--detail")
    parts = ranking_parts(steps.ranking, steps.books, display_unit="mmol/L", detail=True)
    assert result.stdout == render(parts)
    assert "+0.47 mmol/L" in result.stdout
    assert (result.exit_code, result.stderr) == (0, "")


def test_rank_prints_the_contract_as_json(steps: Any, run: Any, samples: Any) -> None:
    item = samples.hypothesis(p=0.1 + 0.2, interval=(float("nan"), 1.0), notes=("caf\u00e9",))
    steps.ranking = samples.ranking(item)
    text = run("rank", "client-07", "--format", "json").stdout
    assert text.endswith("}\n")
    assert '\n "client": "client-07",\n' in text
    assert "caf\u00e9" in text
    assert "0.30000000000000004" in text
    (found,) = json.loads(text, parse_constant=pytest.fail)["hypotheses"]
    assert found["interval"] == [None, 1.0]
    assert found["counts"] == {
        "with": 9,
        "with_high": 5,
        "without": 19,
        "without_high": 2,
        "unknown": 2,
    }


def test_rank_prints_csv(steps: Any, run: Any) -> None:
    text = run("rank", "client-07", "--format", "csv").stdout
    (row,) = csv.DictReader(StringIO(text))
    assert (row["id"], row["difference"]) == ("3fa9c1d2", "8.4")


def test_rank_hands_every_choice_on(steps: Any, run: Any) -> None:
    words = ["--unit", "day", "--outcome", "day_mean", "--from", "2026-03-01", "--to", "2026-03-20"]
    words += ["--draws", "500", "--seed", "7", "--rules", "books"]
    assert run("rank", "client-07", *words).exit_code == 0
    assert steps.asked == {
        "client": Path("client-07"),
        "rules": Path("books"),
        "unit": "day",
        "outcome": "day_mean",
        "first": "2026-03-01",
        "last": "2026-03-20",
        "draws": 500,
        "seed": 7,
        "remember": True,
    }


def test_rank_leaves_what_is_not_chosen_to_the_practice(steps: Any, run: Any) -> None:
    run("rank", "client-07")
    chosen = {key: value for key, value in steps.asked.items() if value is not None}
    assert chosen == {"client": Path("client-07"), "seed": 0, "remember": True}


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_too_few_days_exit_with_three_and_still_print(
    steps: Any, run: Any, samples: Any, form: str
) -> None:
    steps.ranking = samples.ranking(status="too_few", usable_units=12, need_units=20, outcomes=())
    result = run("rank", "client-07", "--format", form)
    assert result.exit_code == 3
    assert result.stdout
    if form == "json":
        assert json.loads(result.stdout)["hypotheses"] == []


def test_demo_writes_ranks_and_says_where(steps: Any, run: Any, tmp_path: Path) -> None:
    place = tmp_path / "new" / "practice"
    result = run("demo", str(place))
    assert result.exit_code == 0
    ranking, _, clients = result.stdout.partition("\nThe next step for each client")
    folder = str(place / "client-01")
    assert ranking == render(ranking_parts(steps.ranking, steps.books, folder=folder))
    assert (
        clients
        == f"""
  client-01: 1 pattern is clear enough to test: ready for a session.
    miner brief {place}/client-01 --as session --include 3fa9c1d2 --out session.html
"""
    )
    assert steps.numbered is steps.ranking
    assert steps.asked["today"] == date.today()
    assert str(place / "client-01") in result.stderr
    assert steps.asked["client"] == place / "client-01"


def test_the_demo_of_another_day_is_of_that_day(steps: Any, run: Any, tmp_path: Path) -> None:
    result = run("demo", str(tmp_path / "d"), "--today", "2026-03-01")
    assert result.exit_code == 0
    assert steps.asked["today"] == date(2026, 3, 1)


def test_demo_may_write_its_own_folder_again(steps: Any, run: Any, tmp_path: Path) -> None:
    assert [run("demo", str(tmp_path / "d")).exit_code for _ in range(2)] == [0, 0]


def test_demo_leaves_a_folder_it_did_not_write_alone(steps: Any, run: Any, tmp_path: Path) -> None:
    (tmp_path / "glucose.csv").write_text("mine")
    result = run("demo", str(tmp_path))
    assert result.exit_code == 2
    assert result.stderr.startswith(f"{tmp_path}: the folder is not empty. Expected")
    assert [path.name for path in tmp_path.iterdir()] == ["glucose.csv"]
    assert run("demo", str(tmp_path / "glucose.csv")).exit_code == 2


def test_demo_uses_a_folder_of_its_own_by_default(
    steps: Any, run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    steps.ranking = replace(steps.ranking, status="too_few")
    assert run("demo", "--format", "json").exit_code == 3
    assert [path.name for path in tmp_path.iterdir()] == ["miner-demo"]
