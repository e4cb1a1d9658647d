"""Invented clients with a known truth, from raw files to the ranking.

    python -m benchmarks.known_truths [--clients 20] [--null 200] [--workers 2] [--draws 10000]

Prints how often a true effect is in the top three and clear, and how many clients in whom nothing
is true have anything called clear. The clients with an effect have the habit on 35 of 100 days and
a calmer day-to-day level than the generator's usual one (level SD 4.0 mg/dL, about 6.5 from night
to night); ``--usual`` takes the generator's own (5.5 and 30 of 100, about 7.5 from night to night;
Shilo et al. 2024 found 7.5 with SD 4.3 between people).
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from pathlib import Path

from joblib import Parallel, delayed

from miner import steps
from miner.core import resources
from miner.core.results import Evidence, Ranking

EFFECTS = (("short_sleep", "wake_glucose", 10.0), ("late_dinner", "overnight_mean", 14.0))
CALM = {"level_sd": 4.0}
FREQUENCY = 0.35


def ranked(folder: Path, draws: int) -> Ranking:
    """Read one client folder and rank it with the shipped rules."""
    rules = steps.load_rules(None, folder)
    return steps.rank(steps.read_client(folder, rules), rules, draws=draws, remember=False)


def with_effect(
    factor: str, outcome: str, size: float, seed: int, draws: int, usual: bool
) -> dict[str, bool]:
    """Return whether the true effect of one invented client is first, in the top three, clear."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "client"
        invented = resources.invented()
        changes: dict[str, object] = {}
        if not usual:
            habits = invented.usual_habits()
            habits[factor] = invented.Habit(FREQUENCY, habits[factor].persistence)
            changes = CALM | {"habits": habits}
        invented.effect_client(home, seed, factor, size, **changes)
        ranking = ranked(home, draws)
    mine = [h for h in ranking.hypotheses if h.factors == (factor,) and h.outcome == outcome]
    others = [
        h for h in ranking.hypotheses if h.evidence is Evidence.CLEAR and factor not in h.factors
    ]
    return {
        "first": bool(mine) and mine[0].rank == 1,
        "top three": bool(mine) and mine[0].rank <= 3,
        "clear": bool(mine) and mine[0].evidence is Evidence.CLEAR,
        "something else clear": bool(others),
    }


def with_nothing(seed: int, reactive: bool, draws: int) -> tuple[bool, str]:
    """Return whether anything is clear in a client in whom nothing is true, and what."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "client"
        resources.invented().null_client(home, seed, reactive=reactive)
        ranking = ranked(home, draws)
    clear = [h for h in ranking.hypotheses if h.evidence is Evidence.CLEAR]
    named = "; ".join(f"{'+'.join(h.factors)} -> {h.outcome}" for h in clear)
    return bool(clear), named


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=20)
    parser.add_argument("--null", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--draws", type=int, default=10_000)
    parser.add_argument("--usual", action="store_true")
    chosen = parser.parse_args()
    pool = Parallel(n_jobs=chosen.workers)
    for factor, outcome, size in EFFECTS:
        jobs = (
            delayed(with_effect)(factor, outcome, size, seed, chosen.draws, chosen.usual)
            for seed in range(chosen.clients)
        )
        total: Counter[str] = Counter()
        for found in pool(jobs):
            total.update({name: int(value) for name, value in found.items()})
        counts = ", ".join(f"{name} {total[name]}" for name in found)
        print(f"{factor} {size:g} mg/dL on {outcome}, {chosen.clients} clients: {counts}")
    for reactive in (False, True):
        jobs = (delayed(with_nothing)(seed, reactive, chosen.draws) for seed in range(chosen.null))
        results = pool(jobs)
        claimed = sum(hit for hit, _ in results)
        world = "habits that persist and react" if reactive else "nothing true"
        print(f"{world}, {chosen.null} clients: {claimed} with anything clear")
        for seed, (hit, named) in enumerate(results):
            if hit:
                print(f"  seed {seed}: {named}")


if __name__ == "__main__":
    main()
