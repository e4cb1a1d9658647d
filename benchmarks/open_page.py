"""Measures how long each page of a practice of 50 clients takes, and a ranking from click to list.

    python benchmarks/open_page.py --date 2026-03-01 --out benchmarks/results/open_page.md

An invented practice of 50 clients of a month each; the page runs as a program of its own, and the
answers are timed from outside, in turns, over one connection. "First" is the first time a page was
asked for once all clients had been read, "median" and "most" of the times after that. The ranking
is timed from the click until the list is there, with the steps of the page in between.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import httpx
from measure import environment

from miner import __version__, steps

PAGE_S, RANKING_S = 0.3, 3.0
SETTLE_S = 15  # the checks are made in the background after the mornings
CLIENT = "/clients/client-01"


def start(practice: Path) -> tuple[subprocess.Popen[str], httpx.Client]:
    command = [sys.executable, "-c", "from miner.cli import main; main()", "open", str(practice)]
    process = subprocess.Popen(
        [*command, "--no-browser"],
        stdout=subprocess.PIPE,
        text=True,
        stderr=subprocess.DEVNULL,
        env=environment(),
    )
    assert process.stdout is not None
    text = Path(url2pathname(urlsplit(process.stdout.readline().strip()).path)).read_text("utf-8")
    home = re.findall(r'action="(http:[^"]*)/open"', text)[1]
    browser = httpx.Client(
        base_url=home, headers={"origin": home}, timeout=120, follow_redirects=True
    )
    browser.post("/open", data={"token": text.partition('name="token" value="')[2][:23]})
    return process, browser


def wait_until_read(browser: httpx.Client) -> float:
    began = time.perf_counter()
    while "Still reading" in browser.get("/").text:
        time.sleep(0.2)
    took = time.perf_counter() - began
    time.sleep(SETTLE_S)
    return took


def timed(browser: httpx.Client, path: str) -> float:
    began = time.perf_counter()
    answer = browser.get(path)
    took = time.perf_counter() - began
    assert answer.status_code == 200, (path, answer.status_code)
    return took


def rank(browser: httpx.Client, code: str) -> float:
    """Return the seconds from the click until the list is there."""
    key = browser.get(f"/clients/{code}/ranking").text.partition('form_key" value="')[2][:64]
    began = time.perf_counter()
    page = browser.post(f"/clients/{code}/ranking", data={"form_key": key})
    while "data-work" in page.text:
        time.sleep(0.1)
        page = browser.get(page.url.path)
    took = time.perf_counter() - began
    assert "were asked" in page.text
    return took


def paths(browser: httpx.Client) -> list[str]:
    ids = re.findall(r"/patterns/([0-9a-f]{8})", browser.get(f"{CLIENT}/ranking").text)
    parts = ("", "/intake", "/questions", "/records", "/days/2026-02-01", "/table", "/week",
             "/meals", "/ranking", "/ranking?unit=meal", f"/patterns/{ids[0]}", "/pages",
             "/pages/preparation", "/follow-up", "/history", "/folder", "/settings")  # fmt: skip
    own = ["/", "/?on=2026-02-10", "/clients", "/caseload", "/rules", "/rules/short_sleep",
           "/settings", "/help"]  # fmt: skip
    return [*own, *(CLIENT + part for part in parts)]


def measured(clients: int, times: int) -> tuple[float, list[tuple[str, list[float]]], list[float]]:
    with tempfile.TemporaryDirectory() as home:
        practice = Path(home) / "practice"
        steps.generate(practice, clients, 30)
        first = sorted(path.name for path in practice.iterdir() if path.is_dir())
        (practice / first[0]).rename(practice / "client-01")
        process, browser = start(practice)
        try:
            reading = wait_until_read(browser)
            ranking = [rank(browser, code) for code in ["client-01", *first[1 : times + 1]]]
            rows: dict[str, list[float]] = {path: [] for path in paths(browser)}
            for _ in range(times + 1):
                for path, found in rows.items():
                    found.append(timed(browser, path))
        finally:
            process.kill()
            process.wait()
    return reading, list(rows.items()), ranking


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--date", default="undated")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--times", type=int, default=9)
    chosen = parser.parse_args()
    reading, rows, ranking = measured(chosen.clients, chosen.times)
    lines = [
        f"| {path} | {1000 * first:.0f} ms | {1000 * statistics.median(rest):.0f} ms "
        f"| {1000 * max(rest):.0f} ms | {'yes' if max(first, *rest) <= PAGE_S else 'NO'} |"
        for path, (first, *rest) in rows
    ]
    median, most = statistics.median(ranking), max(ranking)
    load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "not known"
    text = "\n".join(
        [
            f"# The page of a practice of {chosen.clients} clients\n\n{chosen.date}, miner "
            f"{__version__}. {chosen.times} times each; load of the machine {load} on "
            f"{os.cpu_count()} cores. All clients were read {reading:.1f} s after opening, in the "
            "background.\n",
            f"| page | first | median | most | at most {1000 * PAGE_S:.0f} ms |",
            "|---|---|---|---|---|",
            *lines,
            "",
            f"A ranking of a month, from the click to the list: median {median:.2f} s, most "
            f"{most:.2f} s (aim {RANKING_S:g} s: {'held' if most <= RANKING_S else 'NOT held'}).",
            "",
        ]
    )
    print(text)
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
