"""Pages of invented clients in a real browser: Debian's chromium, without any network."""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from miner import rulebook, steps
from miner.core.results.briefing import KINDS, PageChoices
from miner.render.pages import render
from miner.steps.pages import briefing

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
HERE = Path(__file__).resolve().parents[1] / "words"


@pytest.fixture(scope="session")
def chromium(request: pytest.FixtureRequest) -> Iterator[Browser]:
    """One browser for all tests; without one they are skipped, but never in CI."""
    if not Path(CHROMIUM).is_file():
        told = "no chromium here: install the distribution's package 'chromium'"
        if os.environ.get("CI"):
            pytest.fail(told)
        pytest.skip(told)
    driver = request.getfixturevalue("driver")
    browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
    yield browser
    browser.close()


class Watched:
    """A page and what it asked for, said or failed in."""

    def __init__(self, page: Page) -> None:
        self.requests: list[str] = []
        self.console: list[str] = []
        self.dialogs: list[str] = []
        self.page = page
        self._heard: dict[str, Any] = {
            "request": lambda request: self.requests.append(request.url),
            "console": lambda message: self.console.append(message.text),
            "pageerror": lambda error: self.console.append(str(error)),
            "dialog": self._dialog,
        }
        for event, hear in self._heard.items():
            page.on(event, hear)  # type: ignore[call-overload]

    def _dialog(self, dialog: Any) -> None:
        self.dialogs.append(dialog.message)
        dialog.dismiss()

    def leave(self) -> None:
        """Leave the tab as the next visit has to find it: empty, and heard by nobody."""
        for event, hear in self._heard.items():
            self.page.remove_listener(event, hear)
        self.page.emulate_media(media="null")
        self.page.goto("about:blank")


@pytest.fixture(scope="session")
def tabs(chromium: Browser) -> Iterator[dict[str, Page]]:
    """A tab for each way to look: a new one for each visit costs twice the page in it."""
    made: dict[str, Page] = {}
    yield made
    for page in made.values():
        page.context.close()


@pytest.fixture
def visit(chromium: Browser, tabs: dict[str, Page]) -> Iterator[Any]:
    """Open a file of these, in place of the one before: ``visit(path, size=..., scheme=...)``."""
    visits: list[Watched] = []

    def open_(path: Path, *, size: tuple[int, int] = (1366, 768), **options: Any) -> Watched:
        while visits:
            visits.pop().leave()
        way, window = repr(sorted(options.items())), {"width": size[0], "height": size[1]}
        if way not in tabs:
            tabs[way] = chromium.new_context(offline=True, **options).new_page()
        tabs[way].set_viewport_size(window)  # type: ignore[arg-type]
        visits.append(Watched(tabs[way]))
        visits[-1].page.goto(path.as_uri())
        return visits[-1]

    yield open_
    for watched in visits:
        watched.leave()


def _clients() -> ModuleType:
    spec = importlib.util.spec_from_file_location("page_clients", HERE / "page_clients.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _write(folder: Path, client: Path, include: list[str] | None) -> dict[str, Path]:
    rules = rulebook.load()
    read = steps.read_client(client)
    ranking = steps.rank(read, rules, remember=False)
    chosen = include
    if chosen is None:
        chosen = [item.id for item in ranking.hypotheses if item.factors[0].startswith("tag:")]
        long = [item.id for item in ranking.hypotheses if item.factors[0].startswith("tag:www")]
        chosen = [*long[:1], *chosen[::6]][:3]
    brief = briefing(
        read, rules, choices=PageChoices(include=chosen, lineup=include is not None), remember=False
    )
    found = {}
    for kind in KINDS:
        found[kind] = folder / f"{kind}.html"
        found[kind].write_text(render(brief, kind, rules, chosen), encoding="utf-8")
    return found


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The four pages of a client with three hypotheses chosen, one by meal, and line-ups."""
    folder = tmp_path_factory.mktemp("pages")
    client = _clients().write_invented(folder / "practice")
    return _write(folder, client, ["4c28aa7c", "658ef86f", "2b5a3a9f"])


@pytest.fixture(scope="session")
def two(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The four pages of a client with two hypotheses chosen by day."""
    folder = tmp_path_factory.mktemp("two")
    client = _clients().write_invented(folder / "practice")
    return _write(folder, client, ["4c28aa7c", "658ef86f"])


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The four pages of a client whose code, tags and meals are hostile."""
    folder = tmp_path_factory.mktemp("hostile")
    clients = _clients()
    return _write(folder, clients.make_hostile(clients.write_invented(folder / "practice")), None)


@pytest.fixture(scope="session")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The four pages of a client in whom nothing stood out, nothing chosen."""
    folder = tmp_path_factory.mktemp("quiet")
    return _write(folder, _clients().write_invented(folder / "practice", 1), [])
