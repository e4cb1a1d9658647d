"""Runs a command and says how long it took and how much memory it held at most."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


def environment() -> dict[str, str]:
    """Return what a measured process is given: one thread, and compiled files kept as usual.

    Where a machine forbids keeping them, every start compiles this program again, but not the
    installed libraries it is compared with.
    """
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | ONE_THREAD


@dataclass(frozen=True)
class Run:
    """One finished process: seconds of wall clock, megabytes held at most, what it printed."""

    seconds: float
    megabytes: float
    printed: str


def once(command: Sequence[str]) -> Run:
    """Run a command once, on one thread, and measure the whole process.

    Raises:
        RuntimeError: it did not end with 0 or 3.
    """
    start = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment()) as process:
        printed = process.stdout.read() if process.stdout else ""
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - start
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 3):
        raise RuntimeError(f"{' '.join(command)} ended with {process.returncode}")
    per_megabyte = 1024 if sys.platform != "darwin" else 1024**2
    return Run(seconds, usage.ru_maxrss / per_megabyte, printed)


def in_turns(commands: Mapping[str, Sequence[str]], times: int = 7) -> dict[str, Run]:
    """Run each command once unmeasured, then all of them in turns; the median of each figure.

    In turns, so that other work on the machine falls on all of them alike.
    """
    for command in commands.values():
        once(command)
    rounds = [{name: once(command) for name, command in commands.items()} for _ in range(times)]
    return {
        name: Run(
            statistics.median(run[name].seconds for run in rounds),
            statistics.median(run[name].megabytes for run in rounds),
            rounds[-1][name].printed,
        )
        for name in commands
    }
