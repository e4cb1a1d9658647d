"""Before numpy is loaded: one thread a process, as the command line does. What is made once."""

import gc
import os
import pickle
import shutil
from collections.abc import Callable, Iterator
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
