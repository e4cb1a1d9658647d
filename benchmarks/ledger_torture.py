"""Kills a process at random moments while it adds to a ledger, and looks at what is left.

Each round a child process appends events of random size, in small slow pieces so that a kill can
tear a line, and reports each one once it is on the disk. It is killed (SIGKILL)
after a random time. What is left must hold every event that was reported, in order, with the
chain of checks unbroken. All rounds use the same ledger.

    python benchmarks/ledger_torture.py --rounds 1000 --seed 0
"""

from __future__ import annotations

import argparse
import os
import signal
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from miner import ledger

AT = datetime(2026, 3, 1, 8, tzinfo=UTC)


@dataclass(frozen=True)
class Tally:
    """What the rounds left: events, torn lines, reported events lost, broken places."""

    rounds: int
    reported: int
    kept: int
    torn: int
    lost: int
    out_of_order: bool
    broken: int


def torture(folder: Path, rounds: int, seed: int, longest_s: float = 0.05) -> Tally:
    """Run the rounds on one ledger in ``folder`` and count."""
    chance = np.random.default_rng(seed)
    reported: list[str] = []
    for number in range(rounds):
        reported += _round(folder, number, chance.uniform(0.001, longest_s))
    book = ledger.read(folder)
    kept = [event.payload["name"] for event in ledger.named(book, "tried")]
    return Tally(
        rounds=rounds,
        reported=len(reported),
        kept=len(kept),
        torn=sum(f.count for f in book.problems if "not finished" in f.what),
        lost=len(set(reported) - set(kept)),
        out_of_order=[name for name in kept if name in set(reported)] != reported,
        broken=sum("not finished" not in f.what for f in book.problems),
    )


def _round(folder: Path, number: int, seconds: float) -> list[str]:
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        _write_until_killed(folder, number, into)
    os.close(into)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(out) as pipe:
        return [line.strip() for line in pipe if line.endswith("\n")]


def _write_until_killed(folder: Path, number: int, into: int) -> None:
    whole, chance = os.write, np.random.default_rng(number)

    def piece(target: int, data: bytes) -> int:
        time.sleep(chance.uniform(0, 0.0005))
        return whole(target, bytes(data[: chance.integers(1, 120)]))

    try:
        os.write = piece
        for count in range(1_000_000):
            name = f"{number}-{count}"
            ledger.append(
                folder, "tried", {"name": name, "text": "é" * int(chance.integers(0, 400))}, AT
            )
            whole(into, f"{name}\n".encode())
    finally:
        os._exit(1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=0)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        tally = torture(Path(folder), chosen.rounds, chosen.seed)
    print(tally)
    if tally.lost or tally.broken or tally.out_of_order:
        raise SystemExit("the ledger did not hold")


if __name__ == "__main__":
    main()
