"""Invented clients in whom a walk after dinner truly lowers the rise: files to ranking.

    python -m benchmarks.walks [--clients 20] [--days 40] [--null 40] [--usual] [--workers 2]

Prints in how many clients ``walk_after`` is among the first four of the ranking by meal, and the
place it has in each. In each client a walk after dinner takes 30 % off the rise; rises follow the
logged meals; everything else is as in the demo, but that walks after other meals, which take
nothing off, do not happen. ``--usual`` has them as often as the demo: then two walks in three
change nothing and thin out the third. Then prints in how many clients in whom no meal differs from
another by anything but chance and by which meal it is, anything is clear.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from joblib import Parallel, delayed

from miner import steps
from miner.core import resources
from miner.core.results import Evidence, Ranking

SHARE = -0.3
FIRST = 4


def ranked(folder: Path, seed: int, days: int, draws: int, **truth: object) -> Ranking:
    """Write one client into a practice that ranks meals, and rank it."""
    home = folder / "client-01"
    invented = resources.invented()
    invented.write_client(home, invented.Scenario(home.name, days, seed=seed, **truth))
    (folder / "practice.toml").write_text('rank_unit = "meal"\n', encoding="utf-8")
    rules = steps.load_rules(None, home)
    return steps.rank(steps.read_client(home, rules), rules, draws=draws, remember=False)


def place(seed: int, days: int, draws: int, usual: bool) -> tuple[int, str]:
    """Return the best place of a rule of ``walk_after`` alone, and what it is called."""
    invented = resources.invented()
    habits = invented.usual_habits()
    if not usual:
        habits |= dict.fromkeys(("walk_after_breakfast", "walk_after_lunch"), invented.Habit(0.0))
    effects = (invented.Effect("walk_after_dinner", "rise", SHARE),)
    with tempfile.TemporaryDirectory() as folder:
        ranking = ranked(Path(folder), seed, days, draws, effects=effects, habits=habits)
    mine = [item for item in ranking.hypotheses if item.factors == ("walk_after",)]
    best = min(mine, key=lambda item: item.rank)
    return best.rank, str(best.evidence)


def nothing(seed: int, days: int, draws: int) -> list[str]:
    """Return what is clear in a client whose rises follow their meals, whatever was eaten."""
    with tempfile.TemporaryDirectory() as folder:
        ranking = ranked(Path(folder), seed, days, draws, carb_slope=0.0)
    clear = [item for item in ranking.hypotheses if item.evidence is Evidence.CLEAR]
    return [f"{' + '.join(item.factors)} with {item.outcome}" for item in clear]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=20)
    parser.add_argument("--null", type=int, default=40)
    parser.add_argument("--days", type=int, default=40)
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--usual", action="store_true")
    chosen = parser.parse_args()
    pool = Parallel(n_jobs=chosen.workers)
    job = delayed(place)
    found = pool(
        job(seed, chosen.days, chosen.draws, chosen.usual) for seed in range(chosen.clients)
    )
    held = sum(rank <= FIRST for rank, _ in found)
    clear = sum(level == "clear" for _, level in found)
    print(f"walk_after in the first {FIRST} of {held} of {len(found)} clients, clear in {clear}")
    print("its place: " + ", ".join(f"{rank} ({level})" for rank, level in found))
    claims = pool(delayed(nothing)(seed, chosen.days, chosen.draws) for seed in range(chosen.null))
    claimed = [item for item in claims if item]
    print(f"nothing true: {len(claimed)} of {len(claims)} clients with anything clear {claimed}")


if __name__ == "__main__":
    main()
