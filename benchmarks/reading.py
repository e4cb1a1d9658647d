"""Measures how fast a large glucose file is read beside pandas reading the same.

    python benchmarks/reading.py --date 2026-03-01 --out benchmarks/results/reading.md

1,000,000 readings every 5 minutes (nine and a half years). Pandas reads with the same dtypes and
does the same work on the dates; `miner` checks, merges and runs every detector on top. Both run in
turns in one process, and its processor time counts, so that other programs do not. Once as one
file without a zone, once as two files that overlap by a tenth, in a zone with summer time.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from miner import __version__
from miner.records import read_client

ROWS, OVERLAP, ZONE, AIM = 1_000_000, 0.1, "Europe/Lisbon", 3.0


def write(folder: Path, rows: int, zone: str | None) -> None:
    generator = np.random.default_rng(0)
    times = pd.date_range("2016-01-01", periods=rows, freq="5min", tz="UTC")
    walk = np.cumsum(generator.normal(0, 2, rows)) * 0.02
    values = np.clip(np.round(105 + 25 * np.sin(np.arange(rows) / 40) + walk, 0), 45, 300)
    clock = times.tz_convert(zone).strftime("%Y-%m-%dT%H:%M").to_numpy()
    frame = pd.DataFrame({"time": clock, "glucose_mg_dl": values.astype(int)})
    if zone is None:
        frame.to_csv(folder / "glucose.csv", index=False)
        return
    half, more = rows // 2, int(rows * OVERLAP / 2)
    frame[: half + more].to_csv(folder / "glucose-1.csv", index=False)
    frame[half - more :].to_csv(folder / "glucose-2.csv", index=False)
    (folder / "client.toml").write_text(f'time_zone = "{zone}"\n')


def by_pandas(folder: Path, zone: str | None) -> None:
    """Read the files: numbers, and dates as instants of the zone where there is one."""
    for path in sorted(folder.glob("glucose*.csv")):
        frame = pd.read_csv(path, dtype={"glucose_mg_dl": "float64"}, parse_dates=["time"])
        if zone is not None:
            summer = np.ones(len(frame), bool)
            local = frame["time"].dt.tz_localize(zone, ambiguous=summer, nonexistent="NaT")
            frame["time"] = local.dt.tz_convert("UTC")


def measured(rows: int, times: int, zone: str | None) -> tuple[float, float, int]:
    ours, theirs, kept = [], [], 0
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        write(folder, rows, zone)
        for _ in range(times):
            start = time.process_time()
            by_pandas(folder, zone)
            middle = time.process_time()
            kept = len(read_client(folder).streams["glucose"])
            ours.append(time.process_time() - middle)
            theirs.append(middle - start)
    return statistics.median(ours), statistics.median(theirs), kept


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--date", default="undated")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--rows", type=int, default=ROWS)
    parser.add_argument("--times", type=int, default=9)
    chosen = parser.parse_args()
    lines = []
    for zone in (None, ZONE):
        ours, theirs, kept = measured(chosen.rows, chosen.times, zone)
        ratio = ours / theirs
        what = "one file" if zone is None else f"two overlapping files in {zone}"
        lines.append(
            f"| {what}, {kept:,} readings | {theirs:.2f} s | {ours:.2f} s | {ratio:.2f} | {AIM:g} "
            f"| {'yes' if ratio <= AIM else 'NO'} |"
        )
    per_megabyte = 1024 if sys.platform != "darwin" else 1024**2
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / per_megabyte
    text = "\n".join(
        [
            f"# Reading\n\n{chosen.date}, miner {__version__}. Median of {chosen.times} runs in "
            f"turns in one process (processor time), which held at most {held:.0f} MB.\n",
            "| what | pandas | miner: read, checked, merged | ratio | at most | held |",
            "|---|---|---|---|---|---|",
            *lines,
            "",
        ]
    )
    print(text)
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
