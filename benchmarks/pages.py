"""Measures how large the pages are, how long making one takes, and how soon it can be used.

    python benchmarks/pages.py --date 2026-03-01 --out benchmarks/results/pages.md

Two invented clients, of a month and of 90 days, each with four hypotheses chosen: two by day, two
by meal with their pairs. The session page is measured again with a line-up for each. The last
figure of each needs the distribution's chromium.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from measure import environment
from speed import START, Figure, write_client

from miner import __version__, steps

PAGES = ("preparation", "session", "take-home", "doctor")
LINEUPS = "session with line-ups"
SPAN = {30: 1.5, 90: 4.0}


@dataclass(frozen=True)
class Made:
    """Seconds of wall clock and of the processor that one page took, and its size in MB."""

    seconds: float
    processor: float
    megabytes: float


def chosen(client: Path, most: int) -> list[str]:
    """Return the first hypotheses by day and by meal, those with numbers and one habit only."""
    read = steps.read_client(client)
    found: list[str] = []
    for unit in ("day", "meal"):
        ranking = steps.rank(read, unit=unit, draws=1000, remember=False)
        alone = [i for i in ranking.hypotheses if len(i.factors) == 1 and i.difference is not None]
        found += [item.id for item in alone[:most]]
    return found


def make(client: Path, kind: str, ids: list[str], out: Path) -> Made:
    """Make one page in a process of its own."""
    options = [word for id_ in ids for word in ("--include", id_)]
    options += ["--lineup"] if kind == LINEUPS else []
    page = "session" if kind == LINEUPS else kind
    command = [sys.executable, "-c", START, "brief", str(client), "--as", page, "--out", str(out)]
    begun = time.perf_counter()
    child = os.posix_spawn(sys.executable, [*command, *options], environment())
    _, status, used = os.wait4(child, 0)
    if os.waitstatus_to_exitcode(status):
        raise RuntimeError(f"{kind} was not made")
    seconds = time.perf_counter() - begun
    return Made(seconds, used.ru_utime + used.ru_stime, out.stat().st_size / 1e6)


def usable(pages: list[Path], times: int) -> list[float]:
    """Return, for each page, seconds from asking for it to the second card after a key press."""
    from playwright.sync_api import sync_playwright

    found = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--headless", "--no-sandbox"]
        )
        for path in pages:
            rounds = []
            for _ in range(times):
                page = browser.new_page(viewport={"width": 1366, "height": 768})
                begun = time.perf_counter()
                page.goto(path.as_uri())
                page.keyboard.press("ArrowRight")
                page.wait_for_function("document.querySelector('#where').textContent[0] === '2'")
                rounds.append(time.perf_counter() - begun)
                page.close()
            found.append(statistics.median(rounds))
        browser.close()
    return found


def measure(home: Path, times: int) -> list[Figure]:
    """Measure everything once; about two minutes."""
    figures, sessions = [], []
    for days, most in SPAN.items():
        client = write_client(home, days)
        ids = chosen(client, 2)
        for kind in (*PAGES, LINEUPS):
            out = home / f"{kind.replace(' ', '-')}-{days}.html"
            told = ids[1:] if kind == "take-home" else ids
            runs = [make(client, kind, told, out) for _ in range(1 + times)][1:]
            size, wall, own = (
                statistics.median(getattr(run, name) for run in runs)
                for name in ("megabytes", "seconds", "processor")
            )
            name = f"{kind}, {days} days"
            session = kind == "session"
            limit = most if kind in ("session", LINEUPS) else None
            figures += [
                Figure(f"{name}: size", size, "MB", limit),
                Figure(f"{name}: whole process", wall, "s", 4 if session else None),
                Figure(f"{name}: of it on the processor", own, "s"),
            ]
            sessions += [out] if session else []
    if shutil.which("chromium"):
        for days, seconds in zip(SPAN, usable(sessions, times), strict=True):
            figures.append(Figure(f"session, {days} days: opened and turned", seconds, "s", 1))
    return figures


def main() -> None:
    """Measure, print the table, and write it where it was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--date", required=True, help="the day to write on the table")
    parser.add_argument("--out", type=Path, help="the file to write")
    parser.add_argument("--times", type=int, default=3, help="runs of each")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as home:
        figures = measure(Path(home), asked.times)
    machine = (
        f"{asked.date}. miner {__version__}, Python {platform.python_version()}, "
        f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, one thread a process, "
        f"load {os.getloadavg()[0]:.1f} at the end: other work on the machine makes the seconds of "
        f"the whole process longer, those on the processor hardly. Medians of "
        f"{asked.times} runs after one that does not count."
    )
    head = ["| what | measured | at most | held |", "|---|---|---|---|"]
    text = "\n".join(["# Pages", "", machine, "", *head, *(item.row() for item in figures), ""])
    print(text)
    if asked.out:
        asked.out.parent.mkdir(parents=True, exist_ok=True)
        asked.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
