"""How often luck alone shows something clear in a list with fixed questions beside it.

    python -m benchmarks.calibration.by_chance [--diaries 400] [--draws 199] [--days 42]
        [--workers 1] [--worlds independent persistent reacting] [--out FILE]

Each diary has 15 habits and nothing true in it; three questions were fixed before it. Counted is
what the one ranking calls clear in the search, of the fixed questions, and in either; beside them
stands what it says itself (``clear_by_chance``: the sum of both levels, so an upper bound).
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed
from statsmodels.stats.proportion import proportion_confint

from benchmarks.calibration.worlds import WORLDS, month
from miner import rulebook
from miner.core.results import Evidence
from miner.hypotheses.design import Question, Run
from miner.hypotheses.rank import RankingRequest, rank_table

HABITS, ASKED, FIRST_SEED = 15, 3, 730_000
RUN = "python -m benchmarks.calibration.by_chance"


def found(world: str, days: int, seed: int, draws: int) -> tuple[bool, bool, float]:
    """Return whether anything is clear in the search, and of the fixed, and what is predicted."""
    rules = rulebook.load()
    table = month(WORLDS[world], rules, days=days, factors=HABITS, seed=seed).table
    asked = [Question(name, "minutes_above") for name in table.factors[:ASKED]]
    ranked = rank_table(
        table, rules, RankingRequest(questions=asked), run=Run(draws=draws, seed=seed)
    )
    clear = {item.family for item in ranked.hypotheses if item.evidence is Evidence.CLEAR}
    return bool(clear - {"fixed"}), "fixed" in clear, ranked.clear_by_chance


def row(world: str, rows: list[tuple[bool, bool, float]]) -> str:
    """Return one line of the table, percentages with 95 % intervals."""
    search, fixed, predicted = (np.array(column) for column in zip(*rows, strict=True))
    cells = []
    for hits in (search, fixed, search | fixed):
        low, high = proportion_confint(hits.sum(), len(hits), method="beta")
        cells.append(f"{100 * hits.mean():.1f} ({100 * low:.1f} to {100 * high:.1f})")
    return f"| {world} | {' | '.join(cells)} | {100 * predicted.mean():.1f} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=400)
    parser.add_argument("--draws", type=int, default=199)
    parser.add_argument("--days", type=int, default=42)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--worlds", nargs="+", default=["independent", "persistent", "reacting"])
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    lines = [
        "# Clear by luck alone, search and fixed questions together",
        "",
        f"`{RUN} --diaries {chosen.diaries} --worlds {' '.join(chosen.worlds)}`",
        "",
        f"Clear in how many of 100 diaries of {chosen.days} days in which nothing is true (95 %",
        "interval), and what such a list says itself.",
        "",
        "| world | search | fixed | either | predicted, at most |",
        "|---|---|---|---|---|",
    ]
    for world in chosen.worlds:
        rows = Parallel(n_jobs=chosen.workers)(
            delayed(found)(world, chosen.days, FIRST_SEED + at, chosen.draws)
            for at in range(chosen.diaries)
        )
        lines.append(row(world, rows))
        print(lines[-1], flush=True)
    if chosen.out:
        chosen.out.write_text("\n".join([*lines, ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
