"""What goes wrong in the middle of a caseload, and caseloads too large to list."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from miner import steps
from miner.caseload.fitting import unit_rows
from miner.caseload.question import Units, fit_question
from miner.caseload.running import run
from miner.caseload.store import Store, read_head
from miner.core.messages import MinerError
from miner.core.results import Evidence
from miner.core.results.caseload import Caseload
from miner.hypotheses.design import design
from miner.steps import caseload as examining
from miner.steps.caseload import Task, examine, pool


def row_of(content: bytes | None, home: Path) -> Any:
    assert content is not None
    (home / "one.parquet").write_bytes(content)
    return read_head(str(home / "one.parquet")).row


def test_a_fault_of_the_program_is_the_row_of_one_client(
    small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(examining, "rank", broken)
    row = row_of(examine(Task(str(small), "client-01", "day"))[1], tmp_path)
    assert (row.status, row.client, row.pooled) == ("error", "client-01", True)
    assert str(row.error) == (
        "a fault in the program, not in these records (ZeroDivisionError: division by zero)"
    )


def test_a_folder_that_cannot_be_read_is_a_row(
    small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: Any) -> None:
        raise PermissionError(13, "Permission denied", str(small / "client-01" / "glucose.csv"))

    monkeypatch.setattr(examining, "fingerprint", refused)
    row = row_of(examine(Task(str(small), "client-01", "day"))[1], tmp_path)
    assert (row.status, str(row.error)) == ("error", "glucose.csv: Permission denied")


def test_a_mistake_in_the_rule_books_stops_the_run(small: Path, tmp_path: Path) -> None:
    (small / "rules" / "factors.toml").write_text("[oops]\n", encoding="utf-8")
    with pytest.raises(MinerError, match=r"factors\.toml"):
        pool(small)
    row = row_of(examine(Task(str(small), "client-01", "day"))[1], tmp_path)
    assert row.status == "error"
    assert "factors.toml" in str(row.error)


def test_two_folders_of_one_code_are_told(small: Path) -> None:
    path = small / "client-02" / "client.toml"
    path.write_text(path.read_text("utf-8").replace("client-02", "client-01"), encoding="utf-8")
    found = pool(small)
    assert any("2 folders say they are client-01" in note for note in map(str, found.notes))
    names = ["client-01 in client-01", "client-01 in client-02", "client-03", "client-04"]
    assert [row.client for row in found.clients] == names
    assert {row.client for row in found.pooled[0].by_client} <= set(names)
    assert [row.folder for row in found.clients] == [f"client-0{k}" for k in range(1, 5)]


def test_clients_are_not_listed_where_there_are_many(
    small: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("miner.caseload.pooling.MAX_LISTED", 3)
    monkeypatch.setattr("miner.steps.caseload.MAX_LISTED", 3)
    found = pool(small)
    assert found.pooled
    assert all(effect.by_client == () for effect in found.pooled)
    assert any("not listed one by one" in note for note in map(str, found.notes))


@pytest.mark.prove
def test_with_hundreds_they_are_listed_where_something_is_told(
    practice: Path, found: Caseload, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("miner.caseload.pooling.MAX_LISTED_THROUGHOUT", 3)
    monkeypatch.setattr("miner.steps.caseload.MAX_LISTED_THROUGHOUT", 3)
    fewer = pool(practice, work=tmp_path / "work")
    told = [item.evidence in (Evidence.CLEAR, Evidence.HINT) for item in fewer.pooled]
    assert True in told
    assert False in told
    assert [bool(item.by_client) for item in fewer.pooled] == told
    assert all(item.by_client for item in found.pooled)
    assert sum("only where something is clear" in note for note in map(str, fewer.notes)) == 1
    assert not any("only where something is clear" in note for note in map(str, found.notes))


def test_too_few_who_agreed_pool_nothing(small: Path) -> None:
    for name in ("client-03", "client-04"):
        path = small / name / "client.toml"
        path.write_text(path.read_text("utf-8").replace("pooled = true", ""), encoding="utf-8")
    found = pool(small)
    assert (found.agreed, found.pooled, found.questions_asked) == (2, (), 0)
    assert any("Nothing is pooled" in note for note in map(str, found.notes))


def test_a_work_folder_that_cannot_be_made_is_bad_input(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(MinerError, match="cannot be made"):
        Store(tmp_path / "file" / "work")


def test_a_result_that_vanishes_is_told(tmp_path: Path) -> None:
    with pytest.raises(MinerError, match="missing or damaged"):
        Store(tmp_path).kept("client-01")


def test_what_is_no_record_is_cleared_away(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.write("clients/00/left-behind.parquet", b"half a file")
    assert store.forget_all_but(["client-01"]) == []
    assert list((tmp_path / "clients").rglob("*.parquet")) == []


def test_a_process_that_is_ended_is_told() -> None:
    with pytest.raises(MinerError, match="ended from outside"):
        list(run(os._exit, [1, 1, 1], workers=2))


def test_without_a_mixed_model_the_two_stage_answer_stands_alone() -> None:
    rng = np.random.default_rng(1)
    clients, times = np.repeat(np.arange(25), 12), np.tile(np.arange(12.0), 25)
    x = np.tile([1.0, 0.0], 150)
    twice = times.copy()
    twice[1] = twice[0]  # two units of one client at one time: no dependence can be fitted
    units = Units(
        rng.normal(size=300) + x, x, clients, twice, np.zeros((300, 0)), (), np.arange(300)
    )
    fit = fit_question(units)
    assert fit.reml.difference is None
    assert "share a day" in str(fit.reml.problem)
    assert (fit.method, fit.phi) == ("two_stage", None)
    assert fit.answer.difference is not None


def test_one_client_alone_has_no_pooled_answer() -> None:
    x = np.tile([1.0, 0.0], 10)
    y = np.random.default_rng(2).normal(size=20)
    units = Units(y, x, np.zeros(20, int), np.arange(20.0), np.zeros((20, 0)), (), np.arange(20))
    fit = fit_question(units)
    assert fit.answer.difference is None
    assert fit.answer.problem


def test_meals_at_one_time_are_a_minute_apart(small: Path) -> None:
    client = steps.read_client(small / "client-01")
    rules = steps.load_rules(None, Path("nowhere") / "nobody")
    table = steps.meals(client, rules)
    plan = design(table, rules)
    frame = table.frame.copy()
    frame["start"] = pd.Timestamp("2026-01-15T12:00")
    tied = SimpleNamespace(frame=frame)
    times = unit_rows(tied, plan)["time"].to_numpy()  # type: ignore[arg-type]
    np.testing.assert_allclose(np.diff(times), 1 / 1440, atol=1e-9)
    real = unit_rows(table, plan)
    assert (np.diff(real["time"]) > 0).all()
    starts = pd.to_datetime(table.frame.loc[list(plan.names), "start"]).to_numpy()
    np.testing.assert_allclose(
        real["time"], (starts - np.datetime64(0, "ns")) / np.timedelta64(1, "D"), atol=1e-2
    )


def test_a_copy_of_a_client_is_pooled_once_and_told(
    practice: Path, looked: Any, tmp_path: Path
) -> None:
    folder = tmp_path / "practice"
    shutil.copytree(practice, folder)
    shutil.copytree(looked.work, tmp_path / "work")
    usual = pool(folder, work=tmp_path / "work")
    shutil.copytree(folder / "client-02", folder / "another")
    found = pool(folder, work=tmp_path / "work")
    for was, now in zip(usual.pooled, found.pooled, strict=True):
        assert (now.outcome, now.factor, now.clients) == (was.outcome, was.factor, was.clients)
        assert now.difference == pytest.approx(was.difference, rel=1e-6)
    assert found.agreed == usual.agreed + 1
    assert any(
        "1 of them with the same records as another" in note for note in map(str, found.notes)
    )
    told = {row.folder: row.attention for row in found.clients}
    assert any("same records as client-02" in str(text) for text in told["client-02"])
    assert told["another"] == {row.folder: row for row in usual.clients}["client-02"].attention
    shutil.rmtree(folder / "another")
    later = pool(folder, work=tmp_path / "work")
    assert any(
        text.startswith("client-02 in another: the folder is missing")
        for text in tuple(map(str, later.traces))
    )
    assert not any("client-02 is still named" in text for text in tuple(map(str, later.traces)))


def test_two_clients_with_the_same_readings_are_stopped_and_not_pooled(
    small: Path, tmp_path: Path
) -> None:
    shutil.copy(small / "client-02" / "glucose.csv", small / "client-03" / "glucose.csv")
    found = pool(small, work=tmp_path / "work")
    why = {row.folder: str(row.error) for row in found.clients if row.status == "error"}
    assert set(why) == {"client-02", "client-03"}
    assert "are exactly those of client-03" in why["client-02"]
    assert "are exactly those of client-02" in why["client-03"]
    assert found.agreed == 2
    assert not any("withdr" in text for text in tuple(map(str, found.traces)))


def test_the_folder_of_one_client_is_no_practice(small: Path) -> None:
    before = sorted(path.name for path in (small / "client-01").iterdir())
    with pytest.raises(MinerError, match="folder of one client"):
        pool(small / "client-01")
    assert sorted(path.name for path in (small / "client-01").iterdir()) == before
