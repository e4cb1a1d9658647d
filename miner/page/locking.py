"""One practice is open once: the first page holds it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import Timeout

from miner.core import files
from miner.core.errors import MinerError

LOCK = ".miner-open.lock"


class OpenAlready(Exception):  # noqa: N818 - it names what is so, not a fault
    """Another program has the practice open."""


@contextmanager
def held(practice: Path) -> Iterator[None]:
    """Hold a practice open; a process that ends in any way lets go of it.

    Raises:
        OpenAlready: another program holds it.
        MinerError: nothing can be written there.
    """
    lock = files.lock(practice / LOCK, 0)
    try:
        lock.acquire()
    except Timeout as error:
        raise OpenAlready from error
    except OSError as error:
        raise MinerError(
            "page.folder_not_writable", file=practice, why=error.strerror or error
        ) from error
    try:
        yield
    finally:
        lock.release()
