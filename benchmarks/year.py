"""How often a year of monthly rankings shows something clear in a client in whom nothing is true.

    python -m benchmarks.year [--clients 120] [--whole 24] [--draws 499] [--worlds NAME ...]

Each client has twelve invented months of 30 days, and is ranked after each of them by the shipped
decision (no fixed questions): once on the days of that month alone (``--from``), once on all days
so far, as ``miner rank`` does where nothing is chosen. Counted is in how many clients anything was
clear after the first month, and in any of the twelve rankings. Ranking all days takes longer the
more there are, so it is done for fewer clients.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.calibration.worlds import FIRST_DAY, WEEKLY, WORLDS, World, month
from miner import rulebook
from miner.core.period import Period
from miner.core.results import Evidence
from miner.hypotheses.design import Run, design
from miner.hypotheses.guard import judge_all
from miner.hypotheses.search import search
from miner.hypotheses.tested import Spectra
from miner.rulebook import RuleBook
from miner.stats.proportions import clopper_pearson
from miner.tables.unit_table import UnitTable

MONTHS, DAYS = 12, 30
FIRST_SEED = 910_000
NAMES = ("independent", "persistent", "reacting")


@dataclass(frozen=True)
class Year:
    """Of one client: after which rankings anything was clear, by month and over all days so far."""

    alone: tuple[bool, ...]
    so_far: tuple[bool, ...]


def day(number: int) -> str:
    """Return the ISO date of a day of the diary, from 0."""
    return str(np.datetime64(FIRST_DAY + number, "D"))


def anything_clear(
    table: UnitTable, rules: RuleBook, span: tuple[int, int], seed: int, draws: int, cache: Spectra
) -> bool:
    """Say whether a ranking of some days calls anything clear."""
    plan = design(table, rules, Period(day(span[0]), day(span[1] - 1)))
    if len(plan.names) < rules.guardrails.fewest_days_to_rank:
        return False
    part = search(plan, plan.default_primary, Run(draws, seed, spectra=cache))
    judged = judge_all(part.tests)
    return any(item.evidence is Evidence.CLEAR for item in judged)


def year(world: World, rules: RuleBook, seed: int, draws: int, *, whole: bool) -> Year:
    """Rank one client after each month."""
    drawn = month(world, rules, days=MONTHS * DAYS, factors=15, seed=seed)
    cache: Spectra = {}

    def ranked(spans: Iterator[tuple[int, int]]) -> tuple[bool, ...]:
        return tuple(anything_clear(drawn.table, rules, span, seed, draws, cache) for span in spans)

    ends = [DAYS * (at + 1) for at in range(MONTHS)]
    alone = ranked((end - DAYS, end) for end in ends)
    so_far = ranked((0, end) for end in ends) if whole else ()
    return Year(alone, so_far)


def rate(hits: list[bool]) -> str:
    """Return a rate in 100 with its 95 % interval."""
    low, high = clopper_pearson(sum(hits), len(hits), 0.95)
    return f"{100 * np.mean(hits):.0f} ({100 * low:.0f} to {100 * high:.0f})"


def line(name: str, years: list[Year]) -> str:
    """Return one row of the table."""
    whole = [one.so_far for one in years if one.so_far]
    cells = [
        name,
        str(len(years)),
        rate([one.alone[0] for one in years]),
        rate([any(one.alone) for one in years]),
        str(len(whole)),
        rate([any(one) for one in whole]) if whole else "",
    ]
    return f"| {' | '.join(cells)} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=120)
    parser.add_argument("--whole", type=int, default=24, help="ranked on all days so far too")
    parser.add_argument("--draws", type=int, default=499)
    parser.add_argument("--worlds", nargs="+", default=list(NAMES))
    parser.add_argument("--out", type=Path, default=None)
    chosen = parser.parse_args()
    rules = rulebook.load()
    worlds = {**WORLDS, **WEEKLY}
    lines = [
        "# Twelve monthly rankings of a client in whom nothing is true",
        "",
        f"`python -m benchmarks.year --clients {chosen.clients} --whole {chosen.whole} --draws "
        f"{chosen.draws}`",
        "",
        "Clients of 100 in whom anything was clear (95 % interval): after the first month, in any",
        "of twelve rankings of one month each, in any of twelve rankings of all days so far.",
        "",
        "| world | clients | first month | a month each | clients | all days so far |",
        "|---|---|---|---|---|---|",
    ]
    all_years: list[Year] = []
    for name in chosen.worlds:
        years = [
            year(worlds[name], rules, FIRST_SEED + 101 * at, chosen.draws, whole=at < chosen.whole)
            for at in range(chosen.clients)
        ]
        all_years += years
        lines.append(line(name, years))
        print(lines[-1], flush=True)
    lines.append(line("all", all_years))
    print(lines[-1])
    if chosen.out:
        chosen.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
