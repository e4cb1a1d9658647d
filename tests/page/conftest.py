"""A practice of invented clients, its page without a network, and the page as it really runs."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from visits import Served, Visitor

from miner.core import resources

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND , "
    "EXCLUDE 127.0.0.1 , EXCLUDE localhost , EXCLUDE *.localhost",
]  # fmt: skip


@pytest.fixture(scope="session")
def invented(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six invented clients, never changed; the fourth has the messy files."""
    folder = tmp_path_factory.mktemp("invented") / "practice"
    resources.invented().write_practice(folder)
    return folder


@pytest.fixture
def practice(invented: Path, tmp_path: Path) -> Path:
    """A practice with one client, which a test may change."""
    folder = tmp_path / "practice"
    folder.mkdir()
    shutil.copytree(invented / "client-01", folder / "client-01")
    shutil.copy(invented / "practice.toml", folder)
    return folder


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    """A practice nobody has used."""
    folder = tmp_path / "empty"
    folder.mkdir()
    return folder


@pytest.fixture
def visitor() -> Callable[[Path], Visitor]:
    """Make a visitor who has opened a practice's page."""
    return lambda folder: Visitor(folder).open()


@pytest.fixture
def serve() -> Iterator[Callable[[Path], Served]]:
    """Start the page on a practice; whatever still runs at the end is ended."""
    running: list[Served] = []

    def start(practice: Path) -> Served:
        running.append(Served(practice))
        return running[-1]

    yield start
    for served in running:
        if served.process.poll() is None:
            served.kill()


@dataclass(frozen=True)
class Shared:
    """A page that several tests visit, each on its own client or its own pattern."""

    practice: Path
    served: Served


@pytest.fixture(scope="session")
def shared(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shared]:
    """A page that is served once: a program takes seconds to start."""
    folder = tmp_path_factory.mktemp("shared") / "practice"
    folder.mkdir()
    for name in ("client-01", "client-02"):
        shutil.copytree(invented / name, folder / name)
    served = Served(folder)
    yield Shared(folder, served)
    served.kill()


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
