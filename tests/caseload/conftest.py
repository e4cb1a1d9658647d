"""A practice of invented clients, with rule books of two habits and two outcomes."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from miner.caseload.store import NAME
from miner.core import resources
from miner.core.results.caseload import Caseload
from miner.steps.caseload import pool

FACTORS = ("short_sleep", "late_dinner")
OUTCOMES = ("wake_glucose", "overnight_mean")
SIZE = 9.0


def only(book: str, names: tuple[str, ...]) -> str:
    """Return a shipped rule book with these tables alone."""
    text = (resources.folder("rules") / f"{book}.toml").read_text(encoding="utf-8")
    tables = re.split(r"(?m)^(?=\[)", text)
    return "".join(part for part in tables if re.match(rf"\[({'|'.join(names)})[\].]", part))


def write_rules(practice: Path, draws: int = 100) -> None:
    """Put small rule books into a practice."""
    rules = practice / "rules"
    rules.mkdir(parents=True)
    (rules / "factors.toml").write_text(only("factors", FACTORS), encoding="utf-8")
    (rules / "outcomes.toml").write_text(only("outcomes", OUTCOMES), encoding="utf-8")
    guard = (resources.folder("rules") / "guardrails.toml").read_text(encoding="utf-8")
    guard = re.sub(r"(?m)^draws = .*$", f"draws = {draws}", guard)
    (rules / "guardrails.toml").write_text(guard, encoding="utf-8")


def write_clients(practice: Path, count: int, days: int = 26) -> None:
    """Write clients in all of whom short nights come before a higher morning."""
    invented = resources.invented()
    effects = (invented.Effect("short_sleep", "wake_glucose", SIZE),)
    for k in range(count):
        scenario = invented.Scenario(
            f"client-{k + 1:02d}", days=days, seed=k, effects=effects, pooled=True, cadence=15
        )
        invented.write_client(practice / scenario.code, scenario)


def write_practice(home: Path) -> Path:
    """Write twenty clients who agreed, and five others."""
    folder = home / "practice"
    folder.mkdir()
    write_rules(folder)
    write_clients(folder, 24)
    settings = {"client-21": "pooled = true", "client-22": "pooled = false", "client-23": ""}
    for name, line in settings.items():
        path = folder / name / "client.toml"
        path.write_text(path.read_text("utf-8").replace("pooled = true", line), encoding="utf-8")
    for stream in (folder / "client-21").glob("*.csv"):
        lines = stream.read_text("utf-8").splitlines(keepends=True)
        kept = [line for line in lines if not re.match(r"2026-(01-2[2-9]|01-3|02)", line)]
        stream.write_text("".join(kept), encoding="utf-8")
    (folder / "client-24" / "glucose.csv").write_bytes(b"\xff\xfe\x00nothing to read\n")
    (folder / "client-25").mkdir()
    (folder / "practice.toml").write_text('rank_unit = "day"\n', encoding="utf-8")
    return folder


def copy_small(practice: Path, folder: Path) -> Path:
    """Copy four of its clients."""
    folder.mkdir()
    shutil.copytree(practice / "rules", folder / "rules")
    shutil.copy(practice / "practice.toml", folder)
    for k in range(1, 5):
        shutil.copytree(practice / f"client-0{k}", folder / f"client-0{k}")
    return folder


@dataclass(frozen=True)
class Looked:
    """What a caseload found, and the folder of what it kept: not to be written to."""

    found: Caseload
    work: Path


@pytest.fixture(scope="session")
def practice(made_once: Callable[..., Path]) -> Path:
    """Twenty clients who agreed, and five others: not to be written to."""
    return made_once("caseload", write_practice)


@pytest.fixture(scope="session")
def looked(practice: Path, made_once: Callable[..., tuple[Caseload, Path]]) -> Looked:
    """What a caseload finds in it, and keeps."""
    return Looked(*made_once("caseload-looked", lambda home: (pool(practice, work=home), home)))


@pytest.fixture(scope="session")
def found(looked: Looked) -> Caseload:
    """What a caseload finds in it."""
    return looked.found


@pytest.fixture
def small(practice: Path, tmp_path: Path) -> Path:
    """A copy of four of its clients, to be changed."""
    return copy_small(practice, tmp_path / "practice")


@pytest.fixture(scope="session")
def small_looked(practice: Path, made_once: Callable[..., tuple[Caseload, Path]]) -> Looked:
    """What a caseload finds in the four, and keeps."""

    def made(home: Path) -> tuple[Caseload, Path]:
        folder = copy_small(practice, home / "practice")
        return pool(folder, work=home / "work"), home / "work"

    return Looked(*made_once("caseload-small", made))


@pytest.fixture
def seen(small: Path, small_looked: Looked) -> Caseload:
    """What was found in the copy, which was looked at once: what was kept is beside it."""
    shutil.copytree(small_looked.work, small / NAME)
    return small_looked.found
