"""Before numpy is loaded: one thread a process, as the command line does. One browser driver."""

import gc
import os
from collections.abc import Iterator
from typing import Any

import pytest

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
