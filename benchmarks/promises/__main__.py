"""Every promise beside what happens, in invented months, under the shipped decision.

    python -m benchmarks.promises [--diaries 100] [--days 28 60] [--only NAME ...] [--out FILE]

Sizes: what is expected of claims over what is true of them, where few habits matter (a tenth and
a twentieth; the rule book thinks between) and, for information, where all do and where true
differences spread twice as far. Reach: a month is ranked, and the difference that it names as found
80 times in 100 is planted in another month with the same habits; the intervals of that ranking are
held against what is true. Dates: habits of 28 days are kept, the difference looked for is true of
the days that follow, and they are read on the date that keeping proposes. Each gate stands beside
its figure with a 95 % interval (Clopper and Pearson; of a ratio two standard errors).
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from benchmarks.calibration.worlds import WEEKLY, WORLDS
from benchmarks.promises.dates import dates
from benchmarks.promises.reach import reach
from benchmarks.promises.sizes import Sums, sizes
from miner import rulebook
from miner.rulebook import RuleBook
from miner.stats.proportions import clopper_pearson

RESULTS = Path(__file__).parents[1] / "results" / "promises.md"
PRIORS = (
    ("a tenth matter", 0.1, 1.0, True),
    ("a twentieth matter", 0.05, 1.0, True),
    ("all matter", 1.0, 1.0, False),
    ("a twentieth matter, spread twice as far", 0.05, 2.0, False),
)
EXPECTED, FOUND, COVERED, AS_PROMISED = (0.8, 1.25), (75.0, 85.0), 95.0, 7.5
OPEN = {name: world for name, world in WORLDS.items() if not world.confounded} | {
    "weekly_0.7": WEEKLY["weekly_0.7"]
}
FADES = "fading_logs"
"""Noting fades there, which no date can know: it is told and not held to the gate."""
SEEDS = {"sizes": 9_000_000, "reach": 5_000_000, "dates": 7_000_000}


def held(low: float, high: float, limits: tuple[float, float]) -> str:
    """Return whether an interval agrees with a gate, lies across its edge, or misses it."""
    if limits[0] <= low and high <= limits[1]:
        return "held"
    return "missed" if high < limits[0] or low > limits[1] else "open"


def told(figure: float, low: float, high: float, limits: tuple[float, float]) -> str:
    """Return whether the figure is within its gate, and whether more months could say otherwise."""
    inside = limits[0] <= figure <= limits[1]
    certain = held(low, high, limits) != "open"
    return f"{'held' if inside else '**missed**'}{'' if certain else ', too few to be sure'}"


def head(*names: str) -> Iterator[str]:
    """Return the head of a table."""
    yield f"| {' | '.join(names)} |"
    yield "|---" * len(names) + "|"


def size_lines(rules: RuleBook, days: int, diaries: int) -> Iterator[str]:
    """Return the table of expected over true."""
    yield from head(
        "of all pairs",
        "asked",
        "outcome",
        "claims",
        "with a number",
        "seen / true",
        "expected / true",
        "gate 0.8 to 1.25",
    )
    for name, share, times, gate in PRIORS:
        found = sizes(rules, share, times, days, diaries, SEEDS["sizes"])
        for (asked, outcome), sums in sorted(found.items()):
            if asked == "search" or outcome == "all":
                yield _size_line(name, asked, outcome, sums, gate=gate)


def _size_line(name: str, asked: str, outcome: str, sums: Sums, *, gate: bool) -> str:
    ratio, error = sums.ratio, 2 * sums.error
    spread = float(np.mean(sums.ratios)) if sums.ratios else float("nan")
    mark = "" if not gate else told(ratio, ratio - error, ratio + error, EXPECTED)
    seen = sums.seen / sums.true if sums.true else float("nan")
    return (
        f"| {name} | {asked} | {outcome} (spread {spread:.1f} errors) | {sums.shown + sums.silent} "
        f"| {sums.shown} | {seen:.2f} | {ratio:.2f} ({ratio - error:.2f} to {ratio + error:.2f}) "
        f"| {mark} |"
    )


def reach_lines(rules: RuleBook, lengths: list[int], diaries: int) -> Iterator[str]:
    """Return the table of what is found at the size that is named, and of the intervals."""
    yield from head(
        "world",
        "days",
        "planted",
        "found of 100",
        "gate 75 to 85",
        "best interval covers",
        "gate 95",
        "all cover",
    )
    total = dict.fromkeys(lengths, (0.0, 0.0))
    for name, world in OPEN.items():
        for days in lengths:
            row = reach(world, rules, days, diaries, SEEDS["reach"])
            n, hits = int(row["planted"]), int(row["found"])
            total[days] = (total[days][0] + n, total[days][1] + hits)
            months, best = int(row["months"]), int(row["covered best"])
            yield (
                f"| {name} | {days} | {n} | {_share(hits, n, FOUND)} | "
                f"{_share(best, months, (COVERED, 100.0))} | "
                f"{100 * row['covered all'] / months:.1f} |"
            )
    for days, (n, hits) in total.items():
        yield f"| all | {days} | {n:.0f} | {_share(int(hits), int(n), FOUND)} | | | |"


def _share(hits: int, n: int, limits: tuple[float, float]) -> str:
    low, high = (100 * end for end in clopper_pearson(hits, n))
    rate = 100 * hits / n
    return f"{rate:.1f} ({low:.1f} to {high:.1f}) | {told(rate, low, high, limits)}"


def date_lines(rules: RuleBook, diaries: int) -> Iterator[str]:
    """Return the table of what the date promises and what it finds."""
    yield from head(
        "world", "kept", "median days", "promised of 100", "found of 100", "gate: within 7.5"
    )
    for name, world in OPEN.items():
        rows = dates(world, rules, 28, diaries, SEEDS["dates"])
        power, after, hits = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
        n, found = len(rows), int(hits.sum())
        low, high = (100 * end for end in clopper_pearson(found, n))
        promised, rate = 100 * float(power.mean()), 100 * found / n
        limits = (promised - AS_PROMISED, promised + AS_PROMISED)
        mark = "not held to it" if name == FADES else told(rate, low, high, limits)
        yield (
            f"| {name} | {n} | {np.median(after):.0f} | {promised:.1f} | "
            f"{rate:.1f} ({low:.1f} to {high:.1f}) | {mark} |"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=100)
    parser.add_argument("--days", type=int, nargs="+", default=[28, 60])
    parser.add_argument("--only", nargs="+", choices=SEEDS, default=list(SEEDS))
    parser.add_argument("--out", type=Path, default=RESULTS)
    chosen = parser.parse_args()
    rules = rulebook.load()
    # claims are few where few habits matter: months are cheap there
    parts = {
        "sizes": ("Expected on new days", size_lines(rules, 60, 6 * chosen.diaries)),
        "reach": (
            "What a record could have shown",
            reach_lines(rules, chosen.days, chosen.diaries),
        ),
        "dates": ("Reading dates", date_lines(rules, chosen.diaries)),
    }
    lines = ["# Promises", "", f"`python -m benchmarks.promises --diaries {chosen.diaries}`"]
    for name in chosen.only:
        title, rows = parts[name]
        lines += ["", f"## {title}", ""]
        for line in rows:
            lines.append(line)
            print(line, flush=True)
            chosen.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
