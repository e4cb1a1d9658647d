"""Pooled fits are kept where nothing changed, and made again where something did."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from miner import rulebook
from miner.caseload import pooling
from miner.caseload.fitting import POOLED, FitTask, KeptFits, PooledQuestion, fit_task
from miner.caseload.question import PoolFit
from miner.caseload.store import NAME, Store
from miner.core import resources
from miner.core.results import Doubt, DoubtCode
from miner.core.results.caseload import Caseload
from miner.steps.caseload import pool


@pytest.fixture
def fitted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What is fitted from here on."""
    seen: list[str] = []

    def watched(task: FitTask) -> tuple[int, PoolFit | None, int]:
        seen.append(task.question.factor)
        return fit_task(task)

    monkeypatch.setattr(pooling, "fit_task", watched)
    return seen


def text(found: Caseload) -> str:
    return json.dumps(found.to_dict(), sort_keys=True)


def kept(practice: Path) -> list[Path]:
    return sorted((practice / NAME / POOLED).rglob("*.json"))


def test_what_has_not_changed_is_not_fitted_again(small: Path, fitted: list[str]) -> None:
    first = pool(small)
    once = len(fitted)
    assert once > 0
    assert any(effect.by_client for effect in first.pooled)
    second = pool(small)
    assert len(fitted) == once
    assert text(second) == text(first)


def replace_word(path: Path, old: str, new: str) -> None:
    before = path.read_text("utf-8")
    assert old in before
    path.write_text(before.replace(old, new), "utf-8")


CHANGES: dict[str, Callable[[Path], None]] = {
    "client": lambda home: replace_word(home / "client-04" / "client.toml", "= true", "= false"),
    "rule book": lambda home: replace_word(
        home / "rules" / "guardrails.toml", "claim_level = 0.05", "claim_level = 0.04"
    ),
}


@pytest.mark.parametrize("change", list(CHANGES))
def test_a_change_is_pooled_again(
    small: Path, seen: Caseload, tmp_path: Path, fitted: list[str], change: str
) -> None:
    assert text(pool(small)) == text(seen)
    assert not fitted
    before = set(kept(small))
    CHANGES[change](small)
    again = pool(small)
    assert fitted
    assert before
    assert not before & set(kept(small))
    fresh = pool(small, work=tmp_path / "elsewhere")
    assert text(replace(again, traces=())) == text(fresh)


def test_another_program_pools_again(
    small: Path, fitted: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    first = pool(small)
    once, files = len(fitted), set(kept(small))
    monkeypatch.setattr(resources, "program_hash", lambda: "another")
    assert text(pool(small)) == text(first)
    assert len(fitted) == 2 * once
    assert not files & set(kept(small))


def test_the_program_is_another_where_any_of_its_files_is(tmp_path: Path) -> None:
    def written(name: str, files: dict[str, str]) -> str:
        for path, content in files.items():
            (tmp_path / name / path).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name / path).write_text(content, encoding="utf-8")
        return resources.program_hash(tmp_path / name)

    files = {"a.py": "1", "b/c.py": "2", "b/d.py": ""}
    same = written("one", files)
    assert same == written("two", files | {"notes.txt": "not read", "b/e.pyc": "nor this"})
    others = [
        written("three", files | {"b/c.py": "3"}),
        written("four", files | {"b/e.py": ""}),
        written("five", {"a.py": "1", "b/c.py": "2", "c/d.py": ""}),
        written("six", {"a.py": "12", "b/c.py": "", "b/d.py": ""}),
    ]
    assert len({same, *others}) == 5


def test_a_damaged_fit_is_made_again_and_only_that(
    small: Path, seen: Caseload, fitted: list[str]
) -> None:
    fits = [path for path in kept(small) if path.stem.endswith("-fit")]
    for path, content in zip(fits, (b"{", b"[]", b'{"fit": {}, "units": 3}'), strict=False):
        path.write_bytes(content)
    assert text(pool(small)) == text(seen)
    assert len(fitted) == min(3, len(fits))


def test_pooling_that_was_stopped_goes_on(
    small: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    done: list[int] = []

    def stopped(task: FitTask) -> tuple[int, PoolFit | None, int]:
        if len(done) == 2:
            raise KeyboardInterrupt
        done.append(task.at)
        return fit_task(task)

    monkeypatch.setattr(pooling, "fit_task", stopped)
    with pytest.raises(KeyboardInterrupt):
        pool(small)
    first = list(done)
    done[:] = []

    def goes_on(task: FitTask) -> tuple[int, PoolFit | None, int]:
        done.append(task.at)
        return fit_task(task)

    monkeypatch.setattr(pooling, "fit_task", goes_on)
    found = pool(small)
    assert done
    assert not set(first) & set(done)
    assert text(found) == text(pool(small, work=tmp_path / "at once"))


def test_nothing_of_a_deleted_client_stays_in_what_is_kept(small: Path, seen: Caseload) -> None:
    before = set(kept(small))
    shutil.rmtree(small / "client-02")
    found = pool(small)
    assert not before & set(kept(small))
    assert any("client-02: the folder is missing" in line for line in tuple(map(str, found.traces)))


def test_what_is_said_beside_a_difference_is_kept_with_its_question(tmp_path: Path) -> None:
    def asked(factor: str) -> PooledQuestion:
        rules = rulebook.load()
        return PooledQuestion(
            factor, rules.factor(factor, "day"), 0, "wake_glucose",
            rules.outcomes_of("day")["wake_glucose"],
        )  # fmt: skip

    store = Store(tmp_path)
    fits = KeptFits(store, ("one",))
    doubts = (Doubt(DoubtCode.CONFOUNDER, "broken_sleep", 0.25), Doubt(DoubtCode.CLOCK))
    fits.keep_doubts(asked("short_sleep"), doubts)
    fits.keep_doubts(asked("broken_sleep"), ())
    again = KeptFits(store, ("one",))
    assert again.doubts(asked("short_sleep")) == doubts
    assert again.doubts(asked("broken_sleep")) == ()
    assert again.doubts(asked("long_sleep")) is None
    for path in (tmp_path / POOLED).rglob("*-doubts.json"):
        path.write_text('[{"code": "no such doubt"}]', encoding="utf-8")
    assert again.doubts(asked("short_sleep")) is None
    assert KeptFits(store, ("other",)).doubts(asked("short_sleep")) is None
    assert not list((tmp_path / POOLED).iterdir())
