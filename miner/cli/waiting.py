"""A progress line on standard error for whatever takes longer than two seconds."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from miner.core.messages import Message
from miner.words.safe import clean

if TYPE_CHECKING:
    from rich.console import Console

Report = Callable[[str, float], None]


def _silent(_step: str, _share: float) -> None:
    return


def _terminal() -> Console | None:
    if sys.stderr is None or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        return None
    from rich.console import Console

    return Console(stderr=True, no_color=True)


@contextmanager
def progress(code: str, after_s: float = 2.0, console: Console | None = None) -> Iterator[Report]:
    """Give a function that takes a step's name and the share done, from 0 to 1.

    Nothing is shown before ``after_s`` seconds, nor where standard error is not a terminal, and
    what was shown is wiped at the end.

    Args:
        code: of the message that says what is being done.
        after_s: seconds that may pass in silence.
        console: where it is shown; by default standard error.
    """
    console = console or _terminal()
    if console is None:
        yield _silent
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    bar = Progress(*columns, console=console, transient=True)
    task = bar.add_task(str(Message(code)), total=None)
    timer = threading.Timer(after_s, bar.start)
    timer.daemon = True
    timer.start()
    try:
        yield lambda step, share: bar.update(
            task, description=clean(str(step)), total=1.0, completed=share
        )
    finally:
        timer.cancel()
        timer.join()
        bar.stop()
