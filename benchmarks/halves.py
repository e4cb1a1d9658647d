"""Does what the first half of a person's records suggests hold in the second half?

    python -m benchmarks.halves FOLDER --date 2026-03-01 --out benchmarks/results/halves.md

FOLDER holds client folders of real people, mapped. The first half of a client's usable days is
ranked by day and by meal, then the second half alone. A pair of habit and outcome is looked at
where both halves have five units with the habit and five without. It held where the second half's
difference has the same sign and at least half the size. Beside the levels of the list stand a plain
list (lift of 1.5 or more and Fisher's exact p of 0.05 or less, no correction) and any pair at all:
what a level says beyond "any pair" is what it is worth.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from scipy.stats import fisher_exact

import miner
from miner import __version__, api
from miner.errors import MinerError
from miner.results import Hypothesis, Ranking

FEWEST, HELD, LIFT, P = 5, 0.5, 1.5, 0.05
GROUPS = ("clear", "hint", "one of the hints shown", "plain list", "any pair")
SHOWN = 3


@dataclass(frozen=True)
class Pair:
    """One habit and outcome in both halves."""

    groups: tuple[str, ...]
    held: bool


def halves(folder: Path, unit: str) -> tuple[Ranking, Ranking]:
    """Rank the two halves of a client's usable days, each by itself; nothing is written."""
    client = miner.read_client(folder)
    frame = miner.day_table(client)
    usable = [str(day) for day in frame.loc[frame["usable"], "date"]]
    last = usable[len(usable) // 2 - 1]
    later = usable[len(usable) // 2]
    first = api.rank(client, unit=unit, last=last, keep=False, together=False)
    second = api.rank(client, unit=unit, first=later, keep=False, together=False)
    return first, second


def enough(pair: Hypothesis) -> bool:
    return min(pair.counts.with_, pair.counts.without) >= FEWEST


def plain(pair: Hypothesis) -> bool:
    """Say whether a list of lifts and Fisher tests would name this pair."""
    c = pair.counts
    table = [
        [c.with_high, c.with_ - c.with_high],
        [c.without_high, c.without - c.without_high],
    ]
    return bool(c.lift is not None and c.lift >= LIFT and fisher_exact(table).pvalue <= P)


def pairs(first: Ranking, second: Ranking) -> list[Pair]:
    later = {each.id: each for each in second.hypotheses}
    hints = [each.id for each in first.hypotheses if each.evidence == "hint"][:SHOWN]
    found = []
    for one in first.hypotheses:
        two = later.get(one.id)
        if two is None or len(one.factors) > 1 or not (enough(one) and enough(two)):
            continue
        if one.difference is None or two.difference is None:
            continue
        held = one.difference * two.difference > 0
        held = held and abs(two.difference) >= HELD * abs(one.difference)
        groups = [str(one.evidence), "any pair"]
        groups += ["one of the hints shown"] * (one.id in hints) + ["plain list"] * plain(one)
        found.append(Pair(tuple(groups), held))
    return found


def counted(folder: Path, unit: str) -> tuple[Counter[str], Counter[str], list[str]]:
    """Return how many pairs of each group there were, how many held, and who could not be split."""
    there: Counter[str] = Counter()
    held: Counter[str] = Counter()
    short = []
    for client in sorted(path for path in folder.iterdir() if path.is_dir()):
        try:
            found = pairs(*halves(client, unit))
        except MinerError as error:
            short.append(f"{client.name}: {error}")
            continue
        for pair in found:
            there.update(pair.groups)
            held.update(pair.groups if pair.held else ())
    return there, held, short


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--date", default="")
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    lines = [
        "# Does the second half agree with the first?",
        "",
        f"miner {__version__}, {chosen.date}. Held: the same sign and at least half the size.",
        "",
        "| what the first half said | by day | by meal |",
        "|---|---|---|",
    ]
    units = {unit: counted(chosen.folder, unit) for unit in ("day", "meal")}
    for group in GROUPS:
        cells = []
        for there, held, _ in units.values():
            n = there[group]
            cells.append(f"{held[group]} of {n} ({held[group] / n:.0%})" if n else "none")
        lines.append(f"| {group} | {' | '.join(cells)} |")
    for unit, (_, _, short) in units.items():
        lines += [f"\nNot split, by {unit}: {each}" for each in short]
    text = "\n".join(lines) + "\n"
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
