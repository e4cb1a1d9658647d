"""How often a client's own week, or a rare habit on uneven days, is called clear.

    python -m benchmarks.calibration.weekly [--diaries 150] [--draws 299] [--days 60] [--out FILE]

A small run to steer by, over the worlds ``WEEKLY`` and ``UNEVEN``: in how many diaries anything is
clear by the search, and one fixed question is, with the doubts about the weekday and the spread
and without them.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path

from benchmarks.calibration.diary import ALONE
from benchmarks.calibration.worlds import UNEVEN, WEEKLY, World, month
from miner import rulebook
from miner.core.results import DoubtCode
from miner.hypotheses.design import Question, Run, design
from miner.hypotheses.fixed import answer
from miner.hypotheses.guard import Judged, judge_all
from miner.hypotheses.search import search
from miner.hypotheses.tested import Spectra
from miner.rulebook import RuleBook

LOOKED_AT = {DoubtCode.WEEKDAY, DoubtCode.UNEQUAL_SPREAD}
FIRST_SEED = 70_000


def clear(judged: list[Judged], level: float, without: set[DoubtCode]) -> bool:
    """Say whether anything is clear where some doubts are not raised."""
    return any(
        item.withheld is None
        and item.test.p_adjusted <= level
        and not {doubt.code for doubt in item.doubts} - without
        for item in judged
    )


def counted(world: World, rules: RuleBook, days: int, diaries: int, draws: int) -> Counter[str]:
    """Return in how many diaries something is clear, by the search and as a fixed question."""
    found: Counter[str] = Counter()
    cache: Spectra = {}
    guard = rules.guardrails
    for seed in range(diaries):
        if len(cache) > 100:
            cache.clear()
        drawn = month(world, rules, days=days, factors=15, seed=FIRST_SEED + seed)
        plan = design(drawn.table, rules)
        part = search(plan, plan.default_primary, Run(draws, seed, spectra=cache))
        asked = answer(plan, [Question(*ALONE[0])], Run())
        for name, judged in (
            ("search", judge_all(part.tests)),
            ("fixed", [item for _, item in asked]),
        ):
            found[name] += clear(judged, guard.claim_level, set())
            found[f"{name}, not doubted"] += clear(judged, guard.claim_level, LOOKED_AT)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=150)
    parser.add_argument("--draws", type=int, default=299)
    parser.add_argument("--days", type=int, nargs="+", default=[60])
    parser.add_argument("--world", nargs="+", default=["weekly_0.7"])
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    rules = rulebook.load()
    names = ("search, not doubted", "search", "fixed, not doubted", "fixed")
    lines = ["| world | days | " + " | ".join(names) + " |", "|---" * (2 + len(names)) + "|"]
    for world in chosen.world:
        for days in chosen.days:
            own = {**WEEKLY, **UNEVEN}[world]
            found = counted(own, rules, days, chosen.diaries, chosen.draws)
            rates = [f"{100 * found[name] / chosen.diaries:.1f}" for name in names]
            lines.append(f"| {world} | {days} | " + " | ".join(rates) + " |")
            print(lines[-1], flush=True)
    text = "\n".join(lines)
    head = "# A week of its own, uneven days\n\n`python -m benchmarks.calibration.weekly`, "
    if chosen.out:
        said = f"{head}{chosen.diaries} diaries a row, percentages clear.\n\n{text}\n"
        chosen.out.write_text(said, encoding="utf-8")


if __name__ == "__main__":
    main()
