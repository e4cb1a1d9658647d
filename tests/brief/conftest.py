"""Results made by hand, and what is known of an invented client."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType

import pytest

from miner import api, rulebook
from miner.api.gathering import briefing
from miner.brief import pages
from miner.results import Briefing
from miner.rulebook import RuleBook

HERE = Path(__file__).resolve().parents[1] / "brief"


def _module(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def samples() -> ModuleType:
    """Builders of small results."""
    return _module("text_samples")


@pytest.fixture(scope="session")
def page_text() -> ModuleType:
    """Readers of pages."""
    return _module("page_text")


@pytest.fixture(scope="session")
def page_clients() -> ModuleType:
    """Writers of invented clients."""
    return _module("page_clients")


@pytest.fixture(scope="session")
def rules() -> RuleBook:
    """The rule books that ship."""
    return rulebook.load()


@pytest.fixture(scope="session")
def folder(page_clients: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A client with a true effect, and a question of its own fixed before the records."""
    return Path(page_clients.write_invented(tmp_path_factory.mktemp("one")))


@pytest.fixture(scope="session")
def brief(folder: Path, rules: RuleBook) -> Briefing:
    """What is known of that client, everything chosen that may be."""
    client = api.read_client(folder)
    ranking = api.rank(client, rules, keep=False)
    alone = [item.id for item in ranking.hypotheses if len(item.factors) == 1]
    return briefing(client, rules, include=alone[:12], lineup=True, keep=False)


@pytest.fixture(scope="session")
def render() -> Callable[..., str]:
    """The maker of pages, which draws the same page of the same briefing once."""
    made: dict[tuple[int, str, tuple[str, ...]], tuple[Briefing, str]] = {}

    def of(brief: Briefing, kind: str, rules: RuleBook, include: Sequence[str] = ()) -> str:
        key = (id(brief), kind, tuple(include))
        if key not in made:
            made[key] = brief, pages.render(brief, kind, rules, include)
        return made[key][1]

    return of
