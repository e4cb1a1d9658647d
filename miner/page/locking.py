"""One practice is open once: the first page holds it, a second is told where that is."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import Timeout

from miner import files
from miner.errors import MinerError

LOCK, WHERE = ".miner-open.lock", ".miner-open.txt"


@contextmanager
def held(practice: Path, address: str) -> Iterator[None]:
    """Hold a practice open at an address; a process that ends in any way lets go of it.

    Args:
        practice: the practice's folder.
        address: where its page can be found, without the token.

    Raises:
        MinerError: it is open elsewhere, or nothing can be written there.
    """
    lock, where = files.lock(practice / LOCK, 0), practice / WHERE
    try:
        lock.acquire()
    except Timeout as error:
        at = where.read_text("utf-8").strip() if where.is_file() else "another address"
        raise MinerError(
            f"this practice is open already, at {at}", "one page for a practice",
            "Use that page, or stop it with Ctrl+C where it was started.", file=practice,
        ) from error  # fmt: skip
    except OSError as error:
        raise MinerError(
            f"the folder cannot be written ({error.strerror or error})",
            "a folder you may write in", "Check the rights of the folder.", file=practice,
        ) from error  # fmt: skip
    try:
        files.write_whole(where, f"{address}\n")
        yield
    finally:
        with suppress(OSError):
            where.unlink()
        lock.release()
