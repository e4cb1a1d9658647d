"""Runs one function over many tasks: here, in processes, or on a cluster."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any, TypeVar, cast

from miner.core.messages import Message, MinerError, message

Task = TypeVar("Task")
Found = TypeVar("Found")
Progress = Callable[[str, float], None]
AHEAD = 4
CONNECT_S = 20
MIN_PROCESSES = 2


def run(
    work: Callable[[Task], Found],
    tasks: Sequence[Task],
    *,
    workers: int = 1,
    scheduler: str | None = None,
    lost: Callable[[Task], Found] | None = None,
) -> Iterator[Found]:
    """Give the result of every task, in the order in which they finish.

    Few tasks are handed out ahead of those finished, so that memory does not grow with their
    number.

    Args:
        work: a function of one task that a process can import.
        tasks: what to work on.
        workers: processes on this machine; 1 for none besides this one. No more are started than
            there are tasks, nor, from three on, than cores.
        scheduler: address of a Dask scheduler; ``workers`` then has no meaning.
        lost: the result of a task whose process on the cluster was ended again and again.

    Raises:
        MinerError: the scheduler cannot be reached, or a process of this machine was ended.
    """
    if scheduler is not None:
        yield from _on_cluster(work, tasks, scheduler, lost)
    elif workers > 1 and len(tasks) > 1:
        yield from _in_processes(work, tasks, workers)
    else:
        yield from map(work, tasks)


def _in_processes(
    work: Callable[[Task], Found], tasks: Sequence[Task], workers: int
) -> Iterator[Found]:
    from joblib import Parallel, cpu_count, delayed
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    most = min(workers, len(tasks), max(MIN_PROCESSES, cpu_count()))
    pool = Parallel(n_jobs=most, return_as="generator_unordered", batch_size=1)
    try:
        yield from pool(delayed(work)(task) for task in tasks)
    except TerminatedWorkerError as error:
        raise MinerError("caseload.process_ended") from error


def _on_cluster(
    work: Callable[[Task], Found],
    tasks: Sequence[Task],
    scheduler: str,
    lost: Callable[[Task], Found] | None,
) -> Iterator[Found]:
    # joblib has a backend for Dask, which gives up all tasks with the first whose process is lost
    with _connected(scheduler) as cluster:
        from distributed import KilledWorker
        from distributed import as_completed as gather

        waiting = iter(tasks)
        ahead = AHEAD * max(1, sum(cluster.ncores().values()))
        given: dict[Any, Task] = {}

        def hand_out(some: list[Task]) -> list[Any]:
            futures = [cluster.submit(work, task, pure=False, retries=2) for task in some]
            given.update(zip(futures, some, strict=True))
            return futures

        first = hand_out(list(islice(waiting, ahead)))
        ready: Any = cast("Any", gather)(first, loop=cluster.loop)
        for future in ready:
            task = given.pop(future)
            try:
                found = future.result()
            except KilledWorker:
                if lost is None:
                    raise
                found = lost(task)
            for new in hand_out(list(islice(waiting, 1))):
                ready.add(new)
            yield found


@contextmanager
def _connected(scheduler: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError as error:
        raise MinerError("caseload.scheduler_needs_library") from error
    try:
        cluster = cast("Any", Client)(scheduler, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise MinerError("caseload.no_scheduler", scheduler=scheduler) from error
    with cluster:
        yield cluster


class Pace:
    """Tells how many are done, how fast, and how long the rest may take."""

    def __init__(self, total: int, tell: Progress | None, what: str) -> None:
        self._total, self._tell, self._what = total, tell, what
        self._done, self._start = 0, time.monotonic()

    def step(self) -> None:
        """Count one more and tell."""
        self._done += 1
        if self._tell is not None:
            said = self.after(time.monotonic() - self._start)
            self._tell(str(said), self._done / self._total)

    def after(self, seconds: float) -> Message:
        """Return how far it has come after so many seconds."""
        rate = self._done / seconds if seconds > 0 else 0.0
        counted = {"done": self._done, "total": self._total, "what": self._what}
        if not rate:
            return Message("caseload.pace", counted)
        speed = message("caseload.seconds_each", seconds=1 / rate)
        if rate >= 1:
            speed = message("caseload.a_second", rate=rate)
        left = _duration((self._total - self._done) / rate)
        return Message("caseload.pace_left", counted | {"speed": speed, "left": left})


def _duration(seconds: float) -> Message:
    if seconds < 90:
        return message("caseload.seconds", count=seconds)
    if seconds < 5400:
        return message("caseload.minutes", count=seconds / 60)
    return message("caseload.hours", count=seconds / 3600)
