"""A caseload end to end: how it grows, what a second process saves, what it holds in memory.

    python benchmarks/caseload.py --sizes 50 100 --workers 1 2
    python benchmarks/caseload.py --sizes 200 600 2000 --date 2026-03-01 --out results/caseload.md

Each run is a process of its own on invented clients of 30 days. The seconds of reading, tabling
and ranking (the part that grows with every client) stand apart from those of pooling (a fixed
number of questions, each a little longer with more clients). Processor seconds stand beside those
of the clock: other work on the machine makes the clock longer, the processor hardly.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from joblib.externals.loky import get_reusable_executor
from measure import environment

from miner.steps.caseload import pool
from miner.steps.inventing import generate

DAYS = 30


@dataclass(frozen=True)
class Figures:
    """One run: seconds of the clock by part, processor seconds, megabytes held and kept.

    ``looking_cpu`` is of this process alone: all of the work with one process, the parent's share
    with more.
    """

    clients: int
    workers: int
    looking: float
    pooling: float
    looking_cpu: float
    processor: float
    parent_mb: float
    child_mb: float
    kept_mb: float
    raw_mb: float


def one_run(practice: Path, workers: int) -> Figures:
    """Pool a practice from nothing in this process and say what it took."""
    seen: dict[str, tuple[float, float]] = {}

    def tell(step: str, _share: float) -> None:
        part = "questions" if "pooled" in step else "clients"
        seen[part] = time.perf_counter(), time.process_time()

    with tempfile.TemporaryDirectory() as scratch:
        work = Path(scratch)
        start, before = time.perf_counter(), time.process_time()
        found = pool(practice, workers=workers, work=work, progress=tell)
        end = time.perf_counter()
        kept = sum(path.stat().st_size for path in work.rglob("*") if path.is_file())
    get_reusable_executor().shutdown(wait=True)
    raw = sum(path.stat().st_size for path in practice.rglob("*.csv"))
    own = resource.getrusage(resource.RUSAGE_SELF)
    others = resource.getrusage(resource.RUSAGE_CHILDREN)
    return Figures(
        len(found.clients), workers, seen["clients"][0] - start, end - seen["clients"][0],
        seen["clients"][1] - before,
        own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime,
        own.ru_maxrss / 1024, others.ru_maxrss / 1024, kept / 1e6, raw / 1e6,
    )  # fmt: skip


def in_a_process(practice: Path, workers: int) -> Figures:
    """Run one measurement in a new process."""
    done = subprocess.run(
        [sys.executable, __file__, "--one", str(practice), "--workers", str(workers)],
        stdout=subprocess.PIPE, text=True, check=True, env=environment(),
    )  # fmt: skip
    return Figures(**json.loads(done.stdout))


def table(rows: list[Figures]) -> str:
    """Return the figures as a table for people."""
    lines = [
        "| clients | processes | reading, ranking (s) | pooling (s) | processor, a client (s) "
        "| processor, all (s) | parent (MB) | a worker (MB) | kept (MB) | raw (MB) |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {row.clients:,} | {row.workers} | {row.looking:.1f} | {row.pooling:.1f} "
        f"| {row.looking_cpu / row.clients:.3f} | {row.processor:.0f} | {row.parent_mb:.0f} "
        f"| {row.child_mb:.0f} | {row.kept_mb:.1f} | {row.raw_mb:.0f} |"
        for row in rows
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure every size with every number of processes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="*", default=[200, 600])
    parser.add_argument("--workers", type=int, nargs="*", default=[1, 2])
    parser.add_argument("--one", type=Path)
    parser.add_argument("--date", default="")
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    if asked.one is not None:
        figures = one_run(asked.one, asked.workers[0])
        print(json.dumps({name: getattr(figures, name) for name in figures.__dataclass_fields__}))
        return
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        for size in asked.sizes:
            practice = Path(scratch) / str(size)
            generate(practice, size, DAYS)
            for workers in asked.workers:
                rows.append(in_a_process(practice, workers))
                print(table(rows[-1:]), flush=True)
    text = table(rows)
    if asked.out is not None:
        head = f"Measured on {asked.date}, {os.cpu_count()} cores.\n\n" if asked.date else ""
        asked.out.write_text(f"# A caseload\n\n{head}{text}", encoding="utf-8")


if __name__ == "__main__":
    main()
