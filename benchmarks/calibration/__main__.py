"""How often anything is called clear where nothing is true, and how often what is true is found.

    python -m benchmarks.calibration [--diaries 1000] [--draws 399] [--share 1/2] [--minutes 60]
        [--only WORLD ...] [--days 60 ...] [--first 2000000] [--counts FOLDER] [--out FILE]

Runs what is missing, fifty diaries of each cell in turn, so that it may be stopped at any time.
Their counts are kept in ``--counts``, with a hash of the code they rest on: what was run with the
same code and seeds is not run again, by whatever process. ``--share 1/2`` runs the first of two
halves, in a file of its own. Then it prints every gate beside its figure and writes the page. The
usual methods are run on the first fifty diaries of 28 days.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from pathlib import Path

from benchmarks.calibration.cells import DAYS, cells, counted, merged, read
from benchmarks.calibration.diary import Analysis, Cell, Row, analysis, run
from benchmarks.calibration.table import gates, page
from miner import rulebook

HOME = Path(__file__).parent / "results"
PAGE = Path(__file__).parents[1] / "results" / "calibration.md"
BLOCK, SPECTRA = 50, 200


def count(chosen: argparse.Namespace) -> None:
    """Run the blocks that are missing and fall to this process."""
    until = time.monotonic() + 60 * chosen.minutes
    mine, shares = (int(number) for number in chosen.share.split("/"))
    done = read(chosen.counts.glob("*.jsonl"))
    wanted = [
        (cell, chosen.first + begin)
        for begin in range(0, chosen.diaries, BLOCK)
        for cell in cells()
        if (not chosen.only or cell.world in chosen.only)
        and (not chosen.days or cell.days in chosen.days)
    ]
    how = analysis(rulebook.load(), chosen.draws)
    chosen.counts.mkdir(parents=True, exist_ok=True)
    own = chosen.counts / f"counts-{mine}-of-{shares}.jsonl"
    with own.open("a", encoding="utf-8") as file:
        for cell, first in wanted[mine - 1 :: shares]:
            if time.monotonic() > until:
                break
            if not any(part.cell == cell and part.first <= first < part.end for part in done):
                beside = first == chosen.first and cell.days == min(DAYS)
                rows = _rows(cell, first, how, beside=beside)
                file.write(counted(cell, first, chosen.draws, rows).line())
                file.flush()
    own.write_text("".join(part.line() for part in read([own])), encoding="utf-8")


def _rows(cell: Cell, first: int, how: Analysis, *, beside: bool) -> Iterator[Row]:
    for seed in range(first, first + BLOCK):
        if len(how.spectra) > SPECTRA:
            how.spectra.clear()
        yield run(cell, how, seed, beside=beside)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=1000)
    parser.add_argument("--draws", type=int, default=399)
    parser.add_argument("--share", default="1/1")
    parser.add_argument("--minutes", type=float, default=float("inf"))
    parser.add_argument("--only", nargs="+")
    parser.add_argument("--days", type=int, nargs="+")
    parser.add_argument("--first", type=int, default=2_000_000)
    parser.add_argument("--counts", type=Path, default=HOME)
    parser.add_argument("--out", type=Path, default=PAGE)
    chosen = parser.parse_args()
    count(chosen)
    found = merged(read(chosen.counts.glob("*.jsonl")))
    print("\n".join(gates(found)))
    chosen.out.write_text(page(found), encoding="utf-8")


if __name__ == "__main__":
    main()
