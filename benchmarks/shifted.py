"""Real records with the habits moved in time against the outcomes: how often is anything clear?

    python -m benchmarks.shifted CLIENT [CLIENT ...] [--shifts 50] [--draws 999]

Moving all habits together by some days, round the end of the record, keeps the dependence of both
series and breaks what ties them. Neighbouring shifts are not independent, so the rate is a rough
one.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed

from miner import steps as miner_steps
from miner.core.results import Evidence
from miner.hypotheses.design import Run
from miner.hypotheses.rank import rank_table
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable


def shifted(table: UnitTable, by: int) -> UnitTable:
    """Return the table with every factor as it was ``by`` rows earlier, round the end."""
    frame = table.frame.copy()
    names = list(table.factors)
    frame[names] = np.roll(frame[names].to_numpy(dtype=float), by, axis=0)
    return replace(table, frame=frame)


def claims(table: UnitTable, rules: RuleBook, by: int, draws: int) -> list[str]:
    """Return what is clear after a shift."""
    ranked = rank_table(shifted(table, by), rules, run=Run(draws=draws, seed=by))
    return [
        f"{'+'.join(item.factors)} -> {item.outcome}"
        for item in ranked.hypotheses
        if item.evidence is Evidence.CLEAR
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("clients", nargs="+", type=Path)
    parser.add_argument("--shifts", type=int, default=50)
    parser.add_argument("--draws", type=int, default=999)
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()
    total = hits = 0
    for folder in chosen.clients:
        client = miner_steps.read_client(folder)
        rules = miner_steps.load_rules(None, folder)
        table = miner_steps.days(client, rules)
        steps = np.unique(np.linspace(5, len(table.frame) - 5, chosen.shifts).astype(int))
        found = Parallel(n_jobs=chosen.workers)(
            delayed(claims)(table, rules, int(by), chosen.draws) for by in steps
        )
        claimed = [named for named in found if named]
        total, hits = total + len(found), hits + len(claimed)
        print(f"{folder.name}: {len(claimed)} of {len(found)} shifts with anything clear")
        for named in claimed:
            print(f"  {'; '.join(named)}")
    print(f"together: {hits} of {total}")


if __name__ == "__main__":
    main()
