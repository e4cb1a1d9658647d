"""The same answer for any number of workers, for a run that was stopped, and on a cluster."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from miner.caseload.places import client_folders, fetched, fingerprint
from miner.caseload.running import Pace, run
from miner.caseload.store import read_head
from miner.core.messages import MinerError
from miner.steps.caseload import Task, ended, examine, pool

ROOT = Path(__file__).resolve().parents[2]
RUN = (
    "import sys, json; from pathlib import Path; from miner.steps.caseload import pool; "
    "print(json.dumps(pool(sys.argv[1], work=Path(sys.argv[2])).to_dict()))"
)


def kept(work: Path) -> dict[str, bytes]:
    return {
        path.relative_to(work).as_posix(): path.read_bytes()
        for path in sorted(work.rglob("*"))
        if path.is_file()
    }


@pytest.fixture
def alone(small_looked: Any, tmp_path: Path) -> dict[str, bytes]:
    """What one process keeps of the small practice."""
    shutil.copytree(small_looked.work, tmp_path / "alone")
    return kept(tmp_path / "alone")


def test_two_processes_give_the_same_bytes(
    small: Path, tmp_path: Path, alone: dict[str, bytes]
) -> None:
    one = pool(small, work=tmp_path / "alone")
    two = pool(small, workers=2, work=tmp_path / "two")
    assert json.dumps(one.to_dict()) == json.dumps(two.to_dict())
    assert kept(tmp_path / "two") == alone


def test_a_run_killed_half_way_goes_on_to_the_same_answer(
    small: Path, tmp_path: Path, alone: dict[str, bytes]
) -> None:
    work = tmp_path / "killed"
    with subprocess.Popen(
        [sys.executable, "-c", RUN, str(small), str(work)],
        stdout=subprocess.DEVNULL, env=os.environ | {"PYTHONPATH": str(ROOT)},
    ) as process:  # fmt: skip
        while process.poll() is None and len(list(work.glob("clients/*/*.parquet"))) < 2:
            time.sleep(0.005)
        process.send_signal(signal.SIGKILL)
    half = {name: content for name, content in kept(work).items() if name.endswith(".parquet")}
    assert 2 <= len(half) <= 4
    assert {name: alone[name] for name in half if name in alone} == {
        name: content for name, content in half.items() if name in alone
    }  # fmt: skip
    pool(small, work=work)
    assert kept(work) == alone


@pytest.mark.prove
def test_on_a_cluster_that_loses_a_worker_the_answer_is_the_same(
    small: Path, tmp_path: Path, alone: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    from distributed import LocalCluster

    import miner.steps.caseload as steps

    here = Path(__file__).parent
    notes = tmp_path / "notes"
    notes.mkdir()
    monkeypatch.setenv("CROWD_NOTES", str(notes))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(here), str(ROOT)]))
    monkeypatch.syspath_prepend(str(here))
    import crowd  # type: ignore[import-not-found]

    monkeypatch.setattr(steps, "examine", crowd.slowly)
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None,
    ) as cluster:  # fmt: skip
        lost: list[int] = []

        def watch(_step: str, _share: float) -> None:
            if not lost:
                busy = [int(path.name.partition("-")[0]) for path in notes.iterdir()]
                os.kill(busy[-1], signal.SIGKILL)
                lost.append(busy[-1])

        found = pool(
            small, scheduler=cluster.scheduler_address, work=tmp_path / "cluster", progress=watch
        )
        assert len(lost) == 1
        assert [row.status for row in found.clients] == ["ranked"] * 4
    assert kept(tmp_path / "cluster") == alone
    assert json.dumps(found.to_dict()) == json.dumps(pool(small, work=tmp_path / "alone").to_dict())


def test_a_scheduler_that_does_not_answer_is_bad_input(
    small: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("miner.caseload.running.CONNECT_S", 0.2)
    with pytest.raises(MinerError, match="does not answer"):
        pool(small, scheduler="tcp://127.0.0.1:9")


def test_a_store_is_read_as_a_folder_is(
    small: Path, tmp_path: Path, alone: dict[str, bytes]
) -> None:
    import fsspec

    store = fsspec.filesystem("memory")
    store.put(f"{small}/", "/practice", recursive=True)
    found = pool("memory://practice", work=tmp_path / "remote")
    assert found.practice == "practice"
    assert kept(tmp_path / "remote") == alone
    store.pipe("/practice/client-02/glucose.csv", b"time,glucose_mg_dl\nnever,0\n")
    broken = pool("memory://practice", work=tmp_path / "remote")
    assert [row.status for row in broken.clients] == ["ranked", "error", "ranked", "ranked"]
    assert str(tmp_path.parents[2]) not in str(broken.clients[1].error)
    store.rm("/practice", recursive=True)


def test_a_store_needs_a_place_to_keep_results_and_must_be_there() -> None:
    import fsspec

    fsspec.filesystem("memory").pipe("/lonely/client-01/glucose.csv", b"time\n")
    with pytest.raises(MinerError, match="no place to keep results"):
        pool("memory://lonely")
    with pytest.raises(MinerError, match="no such place"):
        client_folders("memory://nowhere")
    with pytest.raises(MinerError, match="cannot be used"):
        client_folders("nosuchstore://practice")


def test_what_is_not_installed_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "fsspec", None)
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(MinerError, match="miner\\[cluster\\]"):
        client_folders("s3://bucket/practice")
    with pytest.raises(MinerError, match="miner\\[cluster\\]"):
        list(run(len, [[1]], scheduler="tcp://127.0.0.1:9"))


def test_the_fingerprint_changes_with_any_file(small: Path) -> None:
    folder = small / "client-01"
    marks = {fingerprint(folder, "a"), fingerprint(folder, "b")}
    (folder / "ledger.jsonl").write_text("{}\n", encoding="utf-8")
    marks.add(fingerprint(folder, "a"))
    (small / "practice.toml").write_text('display_unit = "mmol/L"\n', encoding="utf-8")
    marks.add(fingerprint(folder, "a"))
    assert len(marks) == 4
    (small / "truth.json").write_text("{}", encoding="utf-8")
    assert fingerprint(folder, "a") in marks


def test_a_folder_that_was_looked_at_is_not_looked_at_again(small: Path, tmp_path: Path) -> None:
    name, content = examine(Task(str(small), "client-01", "day"))
    assert content is not None
    path = tmp_path / "one.parquet"
    path.write_bytes(content)
    mark = read_head(str(path)).fingerprint
    assert examine(Task(str(small), "client-01", "day", mark)) == (name, None)
    assert examine(Task(str(small), "client-01", "meal", mark))[1] is not None


def test_a_folder_whose_process_is_lost_again_and_again_has_a_row(tmp_path: Path) -> None:
    name, content = ended(Task("practice", "client-07", "day"))
    assert content is not None
    path = tmp_path / "one.parquet"
    path.write_bytes(content)
    head = read_head(str(path))
    assert (name, head.row.status, head.fingerprint) == ("client-07", "error", "")
    assert "ended again and again" in str(head.row.error)


def test_a_file_that_is_no_record_is_refused(tmp_path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    pq.write_table(pa.table({"a": [1.0]}), tmp_path / "other.parquet")
    with pytest.raises(ValueError, match="no record"):
        read_head(str(tmp_path / "other.parquet"))


def test_every_task_has_one_result_in_processes() -> None:
    assert sorted(run(abs, [-3, 2, -1], workers=2)) == [1, 2, 3]
    assert list(run(abs, [-3, 2, -1])) == [3, 2, 1]


def test_a_local_folder_is_given_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "client-01").mkdir()
    with fetched(str(tmp_path), "client-01") as folder:
        assert folder == tmp_path / "client-01"


def test_the_pace_is_told_with_what_is_left() -> None:
    said: list[tuple[str, float]] = []
    pace = Pace(4, lambda step, share: said.append((step, share)), "clients")
    pace.step()
    assert said[0][1] == 0.25
    assert said[0][0].startswith("1 of 4 clients, ")
    assert str(pace.after(2.0)) == "1 of 4 clients, 2.0 s each, 6 s left"
    assert str(pace.after(0.25)) == "1 of 4 clients, 4.0 a second, 1 s left"
    assert str(pace.after(60.0)) == "1 of 4 clients, 60.0 s each, 3 min left"
    assert str(pace.after(7200.0)).endswith("6.0 h left")
    assert str(Pace(4, None, "clients").after(0.0)) == "0 of 4 clients"


def test_a_copy_of_a_practice_elsewhere_gives_the_same(
    small: Path, tmp_path: Path, alone: dict[str, bytes]
) -> None:
    other = tmp_path / "elsewhere" / "moved"
    shutil.copytree(small, other)
    pool(other, work=tmp_path / "other")
    assert kept(tmp_path / "other") == alone


def test_no_more_processes_are_started_than_serve(monkeypatch: pytest.MonkeyPatch) -> None:
    import joblib

    asked: list[int] = []
    usual = joblib.Parallel

    def parallel(n_jobs: int, **choices: object) -> object:
        asked.append(n_jobs)
        return usual(n_jobs=2, **choices)

    monkeypatch.setattr(joblib, "Parallel", parallel)
    monkeypatch.setattr(joblib, "cpu_count", lambda: 3)
    for workers, tasks in ((500, 9), (500, 2), (2, 9)):
        assert sorted(run(abs, [-1] * tasks, workers=workers)) == [1] * tasks
    monkeypatch.setattr(joblib, "cpu_count", lambda: 1)
    list(run(abs, [-1] * 9, workers=4))
    assert asked == [3, 2, 2, 2]
