"""Times rises and meals of a month, warm, and of three years, on one core.

    python benchmarks/meals_speed.py [--rounds 7]

The figures to hold: a month of rises and meals at most 0.2 s, three years at most 5 s. Seconds of
the processor, so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from miner import rulebook, steps
from miner.core import resources
from miner.records.client import Client
from miner.tables.food.eating import food_of
from miner.tables.glucose.rises import find_rises
from miner.tables.glucose.trace import trace_of


def rises_and_meals(client: Client) -> tuple[int, int]:
    """Find every rise of the record and make the meal table."""
    client = replace(client)  # nothing computed before
    trace = trace_of(client)
    eaten = np.array(food_of(client, rulebook.load()).taken()) / 60
    found = find_rises(trace.at / 60, trace.value, eaten)
    return len(found), len(steps.meals(client).frame)


def median_seconds(step: Callable[[], object], rounds: int) -> float:
    taken = []
    for _ in range(rounds + 1):
        begun = time.process_time()
        step()
        taken.append(time.process_time() - begun)
    return statistics.median(taken[1:])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=7)
    chosen = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    invented = resources.invented()
    with tempfile.TemporaryDirectory() as home:
        for days, rounds, most in ((30, chosen.rounds, 0.2), (3 * 365, 1, 5.0)):
            folder = Path(home) / f"client-{days}"
            invented.write_client(folder, invented.Scenario(folder.name, days=days, seed=1))
            client = steps.read_client(folder)
            taken = median_seconds(lambda client=client: rises_and_meals(client), rounds)
            found = rises_and_meals(client)
            held = "held" if taken <= most else "NOT held"
            print(
                f"{days} days, {len(client.used('glucose'))} readings, {found[0]} rises, "
                f"{found[1]} meals: {taken:.3f} s (at most {most:g} s: {held})"
            )


if __name__ == "__main__":
    main()
