"""Results made by hand, and what is known of an invented client."""

from __future__ import annotations

import importlib.util
import pickle
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from miner import rulebook, steps
from miner.core.results.briefing import Briefing, PageChoices
from miner.render import drawn, pages
from miner.rulebook import RuleBook
from miner.steps.pages import briefing

HERE = Path(__file__).resolve().parents[1] / "words"


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
def folder(page_clients: ModuleType, made_once: Callable[..., Path]) -> Path:
    """A client with a true effect, and a question of its own fixed before the records."""
    return made_once("client-of-pages", page_clients.write_invented)


@pytest.fixture(scope="session")
def brief(folder: Path, rules: RuleBook, made_once: Callable[..., Briefing]) -> Briefing:
    """What is known of that client, everything chosen that may be."""

    def gathered(_: Path) -> Briefing:
        client = steps.read_client(folder)
        ranking = steps.rank(client, rules, remember=False)
        alone = [item.id for item in ranking.hypotheses if len(item.factors) == 1]
        return briefing(
            client, rules, choices=PageChoices(include=alone[:12], lineup=True), remember=False
        )

    return made_once("briefing-of-pages", gathered)


class Figures:
    """The figures of the pages, each drawn once for what it shows: drawing is most of a page."""

    NAMES = (
        "difference",
        "dots",
        "follow_picture",
        "lineup",
        "meal_pairs",
        "month",
        "scatter",
    )

    def __init__(self) -> None:
        self.draw = {name: getattr(drawn, name) for name in self.NAMES}
        self.as_svg = drawn.as_svg
        self.known: dict[bytes, str] = {}

    def svg(self, asked: tuple[str, Any, Any]) -> str:
        key = pickle.dumps(asked)
        if key not in self.known:
            name, given, named = asked
            self.known[key] = self.as_svg(self.draw[name](*given, **named))
        return self.known[key]

    def into(self, patch: pytest.MonkeyPatch) -> None:
        """Have pages ask for figures here."""
        for name in self.NAMES:
            patch.setattr(drawn, name, lambda *given, _name=name, **named: (_name, given, named))
        patch.setattr(drawn, "as_svg", self.svg)


@pytest.fixture(scope="session")
def render() -> Callable[..., str]:
    """The maker of pages, which makes the same page of the same briefing once.

    Figures are kept by all that they are drawn from; ``pages.render`` draws them afresh.
    """
    made: dict[tuple[int, str, tuple[str, ...]], tuple[Briefing, str]] = {}
    figures = Figures()

    def of(brief: Briefing, kind: str, rules: RuleBook, include: Sequence[str] = ()) -> str:
        key = (id(brief), kind, tuple(include))
        if key not in made:
            with pytest.MonkeyPatch.context() as patch:
                figures.into(patch)
                made[key] = brief, pages.render(brief, kind, rules, include)
        return made[key][1]

    return of
