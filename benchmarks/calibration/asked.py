"""How often one fixed question is clear where it is true: 1.4 SD, in every world that can be seen.

    python -m benchmarks.calibration.asked [--diaries 500] [--days 28 60] [--shift 1.4]
        [--workers 2] [--seed 500000] [--out FILE]

Worlds are those of ``worlds.WORLDS`` that are not confounded: in each, late dinners move the time
above the range. Clear is the level that is shown, doubts and all, not a p. The median over the
worlds is held against its limit. Seeds of the calibration are 17 and every 7,919th after it; the
default begins beyond those and moves by one.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed

from benchmarks.calibration.diary import ALONE
from benchmarks.calibration.worlds import WORLDS, month
from miner import rulebook
from miner.core.results import Evidence
from miner.hypotheses.design import Question, Run, design
from miner.hypotheses.fixed import answer

LEAST = {28: 80.0, 60: 97.0}


def batch(world: str, days: int, shift: float, seeds: range) -> list[bool]:
    """Return of some diaries whether the question is clear."""
    rules, out = rulebook.load(), []
    for seed in seeds:
        drawn = month(
            WORLDS[world],
            rules,
            days=days,
            factors=15,
            seed=seed,
            shift=shift,
            outcomes=(ALONE[0][1],),
        )
        plan = design(drawn.table, rules)
        ((_, judged),) = answer(plan, [Question(*ALONE[0])], Run())
        out.append(judged.evidence is Evidence.CLEAR)
    return out


def rate(world: str, days: int, shift: float, diaries: int, seed: int, workers: int) -> float:
    """Return the percentage of diaries in which the question is clear."""
    parts = [range(seed + at, seed + min(at + 25, diaries)) for at in range(0, diaries, 25)]
    found = Parallel(n_jobs=workers)(delayed(batch)(world, days, shift, part) for part in parts)
    return 100 * float(np.mean([hit for part in found for hit in part]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=500)
    parser.add_argument("--days", type=int, nargs="+", default=[28, 60])
    parser.add_argument("--shift", type=float, default=1.4)
    parser.add_argument("--seed", type=int, default=500_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    worlds = [name for name, world in WORLDS.items() if not world.confounded]
    lines = [f"| world | {' | '.join(f'{days} days' for days in chosen.days)} |"]
    lines.append("|---" * (1 + len(chosen.days)) + "|")
    table = np.empty((len(worlds), len(chosen.days)))
    for at, name in enumerate(worlds):
        for place, days in enumerate(chosen.days):
            table[at, place] = rate(
                name, days, chosen.shift, chosen.diaries, chosen.seed, chosen.workers
            )
        lines.append(f"| {name} | {' | '.join(f'{value:.1f}' for value in table[at])} |")
        print(lines[-1], flush=True)
    medians = np.median(table, axis=0)
    lines.append(f"| median | {' | '.join(f'{value:.1f}' for value in medians)} |")
    least = [LEAST.get(days) for days in chosen.days]
    held = [
        "" if limit is None else f">= {limit:g}: {'yes' if value >= limit else 'NO'}"
        for value, limit in zip(medians, least, strict=True)
    ]
    lines.append(f"| limit | {' | '.join(held)} |")
    text = (
        f"# A fixed question that is true\n\n`python -m benchmarks.calibration.asked`, "
        f"{chosen.diaries} diaries a cell, seeds from {chosen.seed}, {chosen.shift:g} SD, "
        "percentages clear.\n\n" + "\n".join(lines) + "\n"
    )
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
