"""Does what the first half of a person's records suggests hold in the second half?

    python -m benchmarks.halves FOLDER --date 2026-03-01 --out benchmarks/results/halves.md

FOLDER holds client folders of real people, mapped. The first half of a client's usable days is
ranked by day and by meal, then the second half alone. A pair of habit and outcome is looked at
where both halves have five units with the habit and five without. It held where the second half's
difference has the same sign and at least half the size: of pairs that differ by chance alone half
keep the sign, and the larger the first difference the fewer hold. Beside the levels of the list
stand a plain list (lift of 1.5 or more and Fisher's exact p of 0.05 or less, no correction) and any
pair at all: what a level says beyond "any pair" is what it is worth.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

from scipy.stats import fisher_exact

import miner
from miner import __version__, steps
from miner.core.messages import MinerError
from miner.core.results import Hypothesis, Ranking

FEWEST, HELD, LIFT, P = 5, 0.5, 1.5, 0.05
GROUPS = ("clear", "hint", "one of the hints shown", "plain list", "any pair")
SHOWN = 3


@dataclass(frozen=True)
class Pair:
    """One habit and outcome in both halves."""

    groups: tuple[str, ...]
    same_sign: bool
    held: bool


def halves(folder: Path, unit: str) -> tuple[Ranking, Ranking]:
    """Rank the two halves of a client's usable days, each by itself; nothing is written."""
    client = miner.read_client(folder)
    frame = miner.day_table(client)
    usable = [str(day) for day in frame.loc[frame["usable"], "date"]]
    last = usable[len(usable) // 2 - 1]
    later = usable[len(usable) // 2]
    first = steps.rank(client, unit=unit, last=last, remember=False, together=False)
    second = steps.rank(client, unit=unit, first=later, remember=False, together=False)
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
        same_sign = one.difference * two.difference > 0
        held = same_sign and abs(two.difference) >= HELD * abs(one.difference)
        groups = [str(one.evidence), "any pair"]
        groups += ["one of the hints shown"] * (one.id in hints) + ["plain list"] * plain(one)
        found.append(Pair(tuple(groups), same_sign, held))
    return found


def looked_at(folder: Path, unit: str) -> tuple[list[Pair], list[str]]:
    """Return the pairs of all clients, and who could not be split."""
    found, short = [], []
    for client in sorted(path for path in folder.iterdir() if path.is_dir()):
        try:
            found += pairs(*halves(client, unit))
        except MinerError as error:
            short.append(f"Not split, by {unit}: {client.name}: {error}")
    return found, short


def row(group: str, of_units: list[list[Pair]]) -> str:
    """Return how many pairs of a group kept the sign, and how many held."""
    cells = [group]
    for found in of_units:
        own = [pair for pair in found if group in pair.groups]
        sums = sum(pair.same_sign for pair in own), sum(pair.held for pair in own)
        cells += [f"{n} of {len(own)} ({n / len(own):.0%})" if own else "none" for n in sums]
    return f"| {' | '.join(cells)} |"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--date", default="")
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    people = sum(path.is_dir() for path in chosen.folder.iterdir())
    found, short = zip(*(looked_at(chosen.folder, unit) for unit in ("day", "meal")), strict=True)
    lines = [
        "# Does the second half agree with the first?",
        "",
        f"`python -m benchmarks.halves FOLDER`, {people} people, {chosen.date}, "
        f"miner {__version__}.",
        "Held: the same sign and at least half the size.",
        "",
        "| what the first half said | day: same sign | day: held | meal: same sign | meal: held |",
        "|---|---|---|---|---|",
        *(row(group, list(found)) for group in GROUPS),
        *(f"\n{each}" for unit in short for each in unit),
    ]
    text = "\n".join(lines) + "\n"
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
