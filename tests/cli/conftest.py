"""Results made by hand, and a stand-in for the steps of the job."""

# ruff: noqa: ARG002 (a stand-in takes what the real step takes)

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

import miner
from miner import rulebook
from miner.cli.group import miner as commands
from miner.core.results.morning import ClientState
from miner.rulebook import RuleBook

SAMPLES = Path(__file__).resolve().parents[1] / "words" / "text_samples.py"


@pytest.fixture(scope="session")
def samples() -> ModuleType:
    """Builders of small results."""
    spec = importlib.util.spec_from_file_location("text_samples", SAMPLES)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def rules() -> RuleBook:
    """The rule books that ship."""
    return rulebook.load()


class FakeApi(ModuleType):
    """The steps of the job with results made by hand; records what it was asked."""

    def __init__(self, samples: ModuleType, rules: RuleBook) -> None:
        super().__init__("miner.steps")
        self.asked: dict[str, Any] = {}
        self.report = samples.report()
        self.ranking = samples.ranking(samples.hypothesis())
        self.table = samples.day_table()
        self.display_unit = "mg/dL"
        self.books = rules
        self.fault: BaseException | None = None

    def load_rules(self, folder: Path | None, client_folder: Path) -> RuleBook:
        self.asked["rules"] = folder
        return self.books

    def read_client(self, folder: Path, rules: RuleBook | None = None) -> Any:
        self.asked["client"] = folder
        if self.fault is not None:
            raise self.fault
        return SimpleNamespace(
            settings=SimpleNamespace(
                code="client-07", display_unit=self.display_unit, rank_unit="day"
            )
        )

    def days(self, client: Any, rules: RuleBook) -> Any:
        return self.table

    def remember_shown(self, client: Any, unit: str, dates: list[str]) -> tuple[str, ...]:
        self.asked["shown"] = unit, dates
        return ()

    def check(self, client: Any, rules: RuleBook) -> Any:
        return self.report

    def rank(self, client: Any, rules: RuleBook, **choices: Any) -> Any:
        choices.pop("progress")("Searching", 0.5)
        self.asked |= choices
        return self.ranking

    def remember_numbers(self, client: Any, ranking: Any, rules: RuleBook) -> tuple[str, ...]:
        self.numbered = ranking
        return ()

    def write_pages(
        self, client: Any, ranking: Any, folder: Path, *_: Any, progress: Any = None
    ) -> tuple[Path, ...]:
        self.asked["pages"] = folder
        return (folder / "session.html",)

    def write_demo(self, folder: Path, today: date) -> Path:
        self.asked["today"] = today
        (folder / "client-01").mkdir(exist_ok=True)
        return folder / "client-01"

    def practice_states(self, practice: Path, on: date) -> tuple[ClientState, ...]:
        return (ClientState(str(practice / "client-01"), "clear", "3fa9c1d2", count=1),)


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch, samples: ModuleType, rules: RuleBook) -> FakeApi:
    """A stand-in for ``miner.steps``."""
    fake = FakeApi(samples, rules)
    monkeypatch.setitem(sys.modules, "miner.steps", fake)
    monkeypatch.setattr(miner, "steps", fake, raising=False)
    return fake


@pytest.fixture
def run() -> Callable[..., Result]:
    """Run the command line on these words."""

    def call(*words: str, typed: str | None = None) -> Result:
        return CliRunner().invoke(commands, list(words), input=typed)

    return call
