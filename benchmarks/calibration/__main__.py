"""How often each method claims something where nothing is true, and what it finds.

    python -m benchmarks.calibration [--diaries 1000] [--draws 499] [--workers 2] [--only WORLD]

Writes one JSON line a finished cell to ``results/cells.jsonl``; a second run goes on where the
first stopped. The usual methods are run on the first 200 diaries of a cell.
``python -m benchmarks.calibration.table`` writes the table.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import defaultdict
from pathlib import Path

from joblib import Parallel, delayed

from benchmarks.calibration.diary import nothing_true, one_true, spread_truths
from benchmarks.calibration.worlds import WORLDS
from miner import rulebook
from miner.hypotheses.whitened import Spectra

HOME = Path(__file__).parent / "results"
CELLS = HOME / "cells.jsonl"
DAYS = (28, 60, 90)
FACTORS = (15, 30)
STEP = 7919
BESIDE = 200


def cells() -> list[dict[str, object]]:
    """Return every cell: worlds in which nothing is true, one thing is, and many are."""
    nothing = [
        {"kind": "nothing", "world": name, "days": days, "factors": factors}
        for days in DAYS
        for factors in FACTORS
        for name in WORLDS
    ]
    one = [
        {"kind": "one", "world": name, "days": days, "factors": 15, "shift": 1.4}
        for days in (28, 60)
        for name, world in WORLDS.items()
        if not world.confounded
    ]
    spread = [
        {"kind": "spread", "world": "independent", "days": days, "factors": 15} for days in (28, 60)
    ]
    short = [cell for cell in nothing if cell["days"] == min(DAYS)]
    return short + one + spread + [cell for cell in nothing if cell["days"] != min(DAYS)]


def batch(cell: dict[str, object], seeds: list[int], draws: int) -> list[dict[str, float]]:
    """Run some diaries of one cell."""
    rules = rulebook.load()
    cache: Spectra = {}
    world = WORLDS[str(cell["world"])]
    days, factors = int(str(cell["days"])), int(str(cell["factors"]))
    rows = []
    for seed in seeds:
        if len(cache) > 200:
            cache.clear()
        if cell["kind"] == "nothing":
            row = nothing_true(
                world, rules, days, factors, seed, draws, cache, beside=seed < BESIDE * STEP
            )
            rows.append(row)
        elif cell["kind"] == "one":
            shift = float(str(cell["shift"]))
            rows.append(one_true(world, rules, days, factors, seed, draws, shift, cache))
        else:
            rows.append(spread_truths(world, rules, days, factors, seed, draws, cache))
    return rows


def run(cell: dict[str, object], diaries: int, draws: int, workers: int) -> dict[str, object]:
    """Run one cell and return its sums and counts by name."""
    begun = time.perf_counter()
    seeds = [17 + STEP * at for at in range(diaries)]
    parts = [seeds[at : at + 25] for at in range(0, diaries, 25)]
    rows = Parallel(n_jobs=workers)(delayed(batch)(cell, part, draws) for part in parts)
    sums: dict[str, float] = defaultdict(float)
    numbers: dict[str, int] = defaultdict(int)
    for row in (row for part in rows for row in part):
        for name, value in row.items():
            sums[name] += float(value)
            numbers[name] += 1
    return cell | {
        "diaries": diaries, "draws": draws, "sums": dict(sums), "counts": dict(numbers),
        "seconds": round(time.perf_counter() - begun, 1),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=1000)
    parser.add_argument("--draws", type=int, default=499)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only")
    chosen = parser.parse_args()
    HOME.mkdir(exist_ok=True)
    done = set()
    if CELLS.exists():
        for line in CELLS.read_text().splitlines():
            old = json.loads(line)
            done.add((old["kind"], old["world"], old["days"], old["factors"]))
    for cell in cells():
        key = (cell["kind"], cell["world"], cell["days"], cell["factors"])
        if key in done or chosen.only not in (None, cell["world"]):
            continue
        found = run(cell, chosen.diaries, chosen.draws, chosen.workers)
        with CELLS.open("a") as file:
            file.write(json.dumps(found, sort_keys=True) + "\n")
        print(json.dumps(found, sort_keys=True), flush=True)


if __name__ == "__main__":
    main()
