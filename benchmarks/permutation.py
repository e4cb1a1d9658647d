"""Step 7 against the bare matrix products it needs, in one run, in turns.

    OPENBLAS_NUM_THREADS=1 python -m benchmarks.permutation [--rules 2000] [--draws 10000]

Prints the ratio of the medians and the peak memory of the process.
"""

from __future__ import annotations

import argparse
import resource
import time
from statistics import median

import numpy as np

from miner.stats.maxt import Block, judge, shuffles


def blocks(rules: int, units: int, outcomes: int) -> list[Block]:
    """Return outcomes with random rules and five directions of nuisance."""
    rng = np.random.default_rng(0)
    out = []
    for _ in range(outcomes):
        nuisance = np.linalg.qr(rng.normal(size=(units, 5)))[0]
        columns = rng.normal(size=(units, rules))
        outcome = rng.normal(size=units)
        columns -= nuisance @ (nuisance.T @ columns)
        outcome -= nuisance @ (nuisance.T @ outcome)
        out.append(Block(columns, outcome, nuisance, np.arange(units)))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rules", type=int, default=2000)
    parser.add_argument("--draws", type=int, default=10_000)
    parser.add_argument("--units", type=int, default=90)
    parser.add_argument("--outcomes", type=int, default=4)
    parser.add_argument("--runs", type=int, default=5)
    chosen = parser.parse_args()
    family = blocks(chosen.rules, chosen.units, chosen.outcomes)
    orders = shuffles(chosen.units, chosen.draws, 0)
    rows = [np.ascontiguousarray(block.rules.T, dtype=np.float32) for block in family]
    part = np.random.default_rng(1).normal(size=(chosen.units, 512)).astype(np.float32)
    whole, bare = [], []
    for _ in range(chosen.runs):
        begun = time.perf_counter()
        judge(family, orders)
        whole.append(time.perf_counter() - begun)
        begun = time.perf_counter()
        for _ in range(round(chosen.draws / 512)):
            for item in rows:
                item @ part
        bare.append(time.perf_counter() - begun)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{chosen.outcomes} outcomes x {chosen.rules} rules x {chosen.draws} draws x "
        f"{chosen.units} units: {median(whole):.2f} s, bare products {median(bare):.2f} s, "
        f"ratio {median(whole) / median(bare):.2f}, peak memory {memory:.0f} MB"
    )


if __name__ == "__main__":
    main()
