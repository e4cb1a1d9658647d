"""Before numpy is loaded: one thread a process, as the command line does. What is made once."""

from __future__ import annotations

import gc
import os
import pickle
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any, TypeVar

import pytest
from filelock import FileLock

T = TypeVar("T")

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")


def pytest_collection_finish() -> None:
    """What is loaded stays: the garbage collector need not look through it for every test."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(200_000, 20, 50)


@pytest.fixture
def planned_in_march(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first of March 2026 when a test is planned: a plan whose pairs are past is refused."""

    class Clock(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> Clock:
            return cls(2026, 3, 1, 9, tzinfo=tz)

    monkeypatch.setattr("miner.steps.keeping.datetime", Clock)


@pytest.fixture(scope="session")
def driver() -> Iterator[Any]:
    """The driver of the browser: a process may start it only once."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def made_once(
    tmp_path_factory: pytest.TempPathFactory,
) -> Callable[[str, Callable[[Path], T]], T]:
    """Return what a function makes in a folder of its own, made by the first worker that asks.

    The folder is shared by all workers: no test may change what is in it.
    """
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own

    def of(name: str, make: Callable[[Path], T]) -> T:
        home, kept = shared / name, shared / f"{name}.pickle"
        with FileLock(shared / f"{name}.lock"):
            if not kept.exists():
                shutil.rmtree(home, ignore_errors=True)
                home.mkdir()
                kept.write_bytes(pickle.dumps(make(home)))
        return pickle.loads(kept.read_bytes())  # type: ignore[no-any-return]  # noqa: S301

    return of


def _same_records(one: Any, other: Any) -> bool:
    """Whether two clients as read hold the same, to the last cell."""
    whole = ("settings", "findings", "records_hash", "settings_hash", "replaced")
    frames = [(one.streams, other.streams), (one.worn, other.worn)]
    return (
        one.folder.name == other.folder.name
        and all(getattr(one, name) == getattr(other, name) for name in whole)
        and all(mine.keys() == its.keys() for mine, its in frames)
        and all(mine[name].equals(its[name]) for mine, its in frames for name in mine)
    )


@pytest.fixture(scope="session")
def known_records() -> Iterator[list[Any]]:
    """Clients as read in this session; at its end their tables must be what they were."""
    from miner.tables import UNITS, tabulate

    known: list[Any] = []
    yield known
    for client in known:
        for unit in UNITS:
            for rules, table in client._derived.get(f"{unit} table", []):
                assert table.frame.equals(tabulate(replace(client), rules, unit).frame), unit


@pytest.fixture
def derived_once(known_records: list[Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """What follows from the same records is computed once for the tests of many copies of them."""
    from miner.steps import opening as steps

    read = steps._read

    def read_known(folder: Path) -> Any:
        client = read(folder)
        for known in known_records:
            if _same_records(client, known):
                object.__setattr__(client, "_derived", known._derived)
                return client
        known_records.append(client)
        return client

    monkeypatch.setattr(steps, "_read", read_known)
