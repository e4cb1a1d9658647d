"""Times the steps from a client folder to a ranking inside one process, on one core.

    python benchmarks/steps.py FOLDER ROUNDS DRAWS read days rank

Prints the median seconds of processor time of each step as JSON, so that other programs do not
count. With more than one round the first is not counted.
"""

from __future__ import annotations

import json
import os
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

from miner import steps as miner_steps


def one_round(folder: Path, draws: int, steps: list[str]) -> dict[str, float]:
    """Run the steps once and return the seconds of each."""
    rules = miner_steps.load_rules(None, folder)
    client = miner_steps.read_client(folder, rules)
    todo: dict[str, Callable[[], object]] = {
        "read": lambda: miner_steps.read_client(folder, rules),
        "days": lambda: miner_steps.days(client, rules),
        "rank": lambda: miner_steps.rank(client, rules, draws=draws, remember=True),
    }
    seconds = {}
    for step in steps:
        start = time.process_time()
        todo[step]()
        seconds[step] = time.process_time() - start
    return seconds


def main() -> None:
    """Run the rounds and print the medians."""
    folder, rounds, draws, steps = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4:]
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    runs = [one_round(Path(folder), draws, steps) for _ in range(rounds)]
    counted = runs[1:] or runs
    print(json.dumps({step: statistics.median(run[step] for run in counted) for step in steps}))


if __name__ == "__main__":
    main()
