"""Measures how fast `miner` is beside the import of the libraries it stands on.

    python benchmarks/speed.py --date 2026-03-01 --out benchmarks/results/speed.md

Every ratio compares two things measured in the same run on the same machine.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from measure import in_turns, once

from miner import __version__
from miner.core import resources

IMPORTS = "import pandas, scipy.stats, mlxtend.frequent_patterns"
START = "import sys; from miner.cli import main; sys.argv[0] = 'miner'; main()"
DRAWS = 10_000


@dataclass(frozen=True)
class Figure:
    """What was measured, the figure, and the most it may be; None where it is told only."""

    what: str
    value: float
    unit: str
    aim: float | None = None

    def row(self) -> str:
        """Return the figure as a line of the table."""
        aim = "" if self.aim is None else f"{self.aim:g} {self.unit}"
        held = "" if self.aim is None else "yes" if self.value <= self.aim else "NO"
        return f"| {self.what} | {self.value:.2f} {self.unit} | {aim} | {held} |"


def write_client(home: Path, days: int) -> Path:
    """Write an invented client of five streams and return its folder."""
    invented = resources.invented()
    folder = home / f"client-{days}"
    invented.write_client(folder, invented.Scenario(folder.name, days=days, seed=1))
    return folder


def inside(folder: Path, rounds: int, *steps: str) -> dict[str, float]:
    """Return the median seconds of each step in a process that has the libraries loaded."""
    here = Path(__file__).with_name("steps.py")
    command = [sys.executable, str(here), str(folder), str(rounds), str(DRAWS), *steps]
    seconds: dict[str, float] = json.loads(once(command).printed)
    return seconds


def measure(home: Path) -> list[Figure]:
    """Measure everything once; about a minute."""
    month, years = write_client(home, 30), write_client(home, 3 * 365)
    miner = [sys.executable, "-c", START]
    runs = in_turns(
        {
            "imports": [sys.executable, "-c", IMPORTS],
            "rank": [*miner, "rank", str(month), "--draws", str(DRAWS)],
            "help": [*miner, "--help"],
        }
    )
    imports, rank, start = runs["imports"], runs["rank"], runs["help"]
    warm = inside(month, 9, "read", "days", "rank")
    cold = inside(years, 1, "read", "days")
    ratio = rank.seconds / imports.seconds
    return [
        Figure("Import of pandas, scipy.stats and mlxtend", imports.seconds, "s"),
        Figure(f"`miner rank`, 30 days, {DRAWS:,} draws, whole process", rank.seconds, "s"),
        Figure("The second over the first", ratio, "times", 2),
        Figure("Most memory of `miner rank`", rank.megabytes, "MB", 400),
        Figure(
            "One more client on one core, read to ranked", warm["read"] + warm["rank"], "s", 0.3
        ),
        Figure("of it reading", warm["read"], "s"),
        Figure("the daily table alone", warm["days"], "s"),
        Figure("Three years of 5-minute readings, read and tabled", sum(cold.values()), "s", 5),
        Figure("`miner --help`, whole process", start.seconds, "s", 0.3),
    ]


def report(figures: list[Figure], date: str) -> str:
    """Return the table with the machine it was measured on."""
    machine = (
        f"{date}. miner {__version__}, Python {platform.python_version()}, "
        f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, one thread a process, "
        f"load {os.getloadavg()[0]:.1f} at the end. "
        "Medians of seven runs, in turns, after one that does not count."
    )
    head = ["| what | measured | at most | held |", "|---|---|---|---|"]
    return "\n".join(["# Speed", "", machine, "", *head, *(item.row() for item in figures), ""])


def main() -> None:
    """Measure, print the table, and write it where it was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--date", required=True, help="the day to write on the table")
    parser.add_argument("--out", type=Path, help="the file to write")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as home:
        text = report(measure(Path(home)), asked.date)
    print(text)
    if asked.out:
        asked.out.parent.mkdir(parents=True, exist_ok=True)
        asked.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
