"""How often a file is read wrongly without a word.

    python -m benchmarks.silent_reading --files 10000 --cases FILE --date 2026-03-01 --out FILE

Clients whose records are known are written in five styles. One file of each is changed in one of
the ways of ``silent/``, and read as it was declared before. A value that is read otherwise than it
is known, or not at all, needs a finding, beyond those of the file as it is known, that names the
stream or the file and the kind of fault; else it counts as silent. What cannot be seen in the
files is named beforehand, with the reason, and counted apart. Of files that were not changed at
most one in a hundred may get a finding of any of these kinds. Each case is added to the file of
cases as it is read: a run that is stopped goes on from there.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

import numpy as np

from benchmarks.silent import columns, numbers, people, rows, times, units
from benchmarks.silent.files import STYLES, Client, make_client
from benchmarks.silent.judging import DIGITS, Reading, names_fault, read, verdict
from benchmarks.silent.way import ALL, Mutation, mutate
from miner import __version__

WORLDS = 40
ENTERED = (units, numbers, times, columns, rows, people)
"""Whose ways are in the list."""

OUTCOMES = ("right", "told", "refused", "silent")


@dataclass(frozen=True)
class Case:
    """One changed file.

    Attributes:
        found: right, told, refused or silent.
        said: what was said of it.
    """

    number: int
    way: str
    stream: str
    style: str
    found: str
    said: str


@cache
def known(seed: int, style: int) -> tuple[Client, Reading]:
    """Return the files of a client in one style, and what is read from them."""
    files = make_client(seed, STYLES[style], molar=seed % 2 == 1)
    return files, read(files, files)


def changed_file(number: int) -> Case | None:
    """Change a file and read it; everything random follows from the number.

    None where this file cannot go wrong that way.
    """
    rng, way = np.random.default_rng([number, 3]), ALL[number % len(ALL)]
    seed, style = int(rng.integers(WORLDS)), int(rng.integers(len(STYLES)))
    stream = way.streams[int(rng.integers(len(way.streams)))]
    declared, right = known(seed, style)
    changed = mutate(declared, way, stream, rng)
    if changed is None:
        return None
    found, said = verdict(right, read(changed, declared), stream, way.says)
    return Case(number, way.name, stream, STYLES[style].name, found, said)


def run(files: int, first: int = 0, kept: Path | None = None) -> list[Case]:
    """Read so many changed files, from a number on.

    Args:
        files: how many in all.
        first: number of the first.
        kept: cases read before; further ones are added, a line each.
    """
    lines = kept.read_text(encoding="utf-8").splitlines() if kept and kept.exists() else []
    cases = [Case(**json.loads(line)) for line in lines]
    number = cases[-1].number + 1 if cases else first
    while len(cases) < files:
        if case := changed_file(number):
            cases.append(case)
            if kept:
                with kept.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(case)) + "\n")
        number += 1
    return cases


def false_alarms(seeds: Iterable[int]) -> list[str]:
    """Return what is said of the kind of a fault where no file was changed."""
    kinds = "|".join(way.says for way in ALL)
    alarms = []
    for seed in seeds:
        files = make_client(seed, STYLES[seed % len(STYLES)], molar=seed % 2 == 1)
        found = read(files, files)
        said = [
            each.what
            for each in (*found.findings, *found.checked)
            if any(names_fault(each, stream, kinds) for stream in files)
        ]
        if said or found.refused:
            alarms.append(f"{seed}: {said[0] if said else found.refused}")
    return alarms


def report(cases: list[Case], alarms: list[str], unchanged: int, date: str) -> str:
    """Return what was counted as a page."""
    silent = [case for case in cases if case.found == "silent"]
    unseen = {way.name for way in ALL if way.unseen}
    seen = [case for case in silent if case.way not in unseen]
    lines = [
        "# Silent reading",
        "",
        f"`python -m benchmarks.silent_reading --files {len(cases)}`, miner {__version__}, {date}.",
        "",
        f"{len(cases)} changed files. Silent among those that can be seen: {len(seen)}.",
        f"Findings of such a kind on files that were not changed: {len(alarms)} of {unchanged}.",
        "",
        "Right: read as it is known all the same. In the last column what was said most often.",
        "",
        "| what happened to the file | right | told | refused | silent | said |",
        "|---|---|---|---|---|---|",
        *(_row(way, cases) for way in ALL if not way.unseen),
        "",
        "What cannot be seen in the files:",
        "",
        "| what happened to the file | right | told | refused | silent | why it cannot be seen |",
        "|---|---|---|---|---|---|",
        *(_row(way, cases) for way in ALL if way.unseen),
        "",
    ]
    lines += [f"- silent: {c.number} {c.way}, {c.stream}, {c.style}: {c.said}" for c in seen]
    lines += [f"- not changed: {alarm}" for alarm in alarms]
    return "\n".join(lines).rstrip() + "\n"


def _row(way: Mutation, cases: list[Case]) -> str:
    own = [case for case in cases if case.way == way.name]
    counts = Counter(case.found for case in own)
    said = Counter(DIGITS.sub("#", case.said) for case in own if case.found == "told")
    text = way.unseen or (said.most_common(1)[0][0].replace("|", "/") if said else "")
    return " | ".join([f"| {way.name}", *(str(counts[name]) for name in OUTCOMES), f"{text} |"])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--unchanged", type=int, default=1_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--cases", type=Path)
    parser.add_argument("--date", default="")
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    cases = run(chosen.files, chosen.first, chosen.cases)
    alarms = false_alarms(range(1000, 1000 + chosen.unchanged))
    text = report(cases, alarms, chosen.unchanged, chosen.date)
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
