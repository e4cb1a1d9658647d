"""Compares the rise detector with rises marked by eye (``datasets/marked-rises``).

    python benchmarks/rises.py FOLDER [--within 30] [--list]

FOLDER holds ``person-*/glucose.csv`` and ``meals.csv`` as the README of the marks describes. A
detected rise and a mark are the same where their peaks are at most ``--within`` minutes apart;
each is used once, the nearest pairs first. Precision is the share of detected rises, with their
peak on a marked day, that have a mark; recall the share of marks that have a detected rise.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from miner import resources
from miner.tables.rises import Rise, find_rises

MG_DL = 18.0156
DAY = 1440


def readings(folder: Path) -> tuple[pd.Series, pd.Series, pd.Series]:
    glucose = pd.read_csv(folder / "glucose.csv")
    meals = pd.read_csv(folder / "meals.csv", encoding="utf-8-sig")
    at = pd.to_datetime(glucose["bg_ts"], format="%d/%m/%Y %H:%M", errors="coerce")
    eaten = pd.to_datetime(meals["meal_ts"], format="%d/%m/%Y %H:%M", errors="coerce")
    return at, pd.to_numeric(glucose["value"], errors="coerce") * MG_DL, eaten


def detected(folder: Path, day: pd.Timestamp, **thresholds: float) -> list[Rise]:
    """The rises of one day, in minutes after its midnight, with a day either side to see them."""
    at, values, eaten = readings(folder)
    minutes = ((at - day) / pd.Timedelta(minutes=1)).to_numpy()
    meals = ((eaten - day) / pd.Timedelta(minutes=1)).to_numpy()
    near = (minutes > -DAY) & (minutes < 2 * DAY)
    return list(find_rises(minutes[near], values.to_numpy()[near], meals, **thresholds))


def pairs(marks: pd.DataFrame, found: list[Rise], within: float) -> list[tuple[int, int]]:
    """Which mark goes with which detected rise, nearest peaks first, each used once."""
    apart = [
        (abs(mark - rise.peak), i, j)
        for i, mark in enumerate(marks["peak_min"])
        for j, rise in enumerate(found)
    ]
    taken: list[tuple[int, int]] = []
    for gap, i, j in sorted(apart):
        if gap <= within and all(i != a and j != b for a, b in taken):
            taken.append((i, j))
    return taken


def compare(data: Path, within: float, **thresholds: float) -> pd.DataFrame:
    """One row a mark or detected rise of a marked day; what is missing on one side is NaN."""
    rows = []
    for file in sorted((resources.folder("datasets") / "marked-rises").glob("person-*.csv")):
        for date, marks in pd.read_csv(file).groupby("date"):
            found = detected(data / file.stem, pd.Timestamp(str(date)), **thresholds)
            kind = str(marks["set"].iloc[0])
            paired = pairs(marks, found, within)
            of_mark, of_rise = dict(paired), {j: i for i, j in paired}
            for i, mark in enumerate(marks.itertuples()):
                rise = found[of_mark[i]] if i in of_mark else None
                if 0 <= mark.peak_min < DAY or rise:
                    rows.append(_row(file.stem, date, kind, mark, rise))
            rows += [
                _row(file.stem, date, kind, None, rise)
                for j, rise in enumerate(found)
                if j not in of_rise and 0 <= rise.peak < DAY
            ]
    return pd.DataFrame(rows)


def _row(
    person: str, date: object, kind: str, mark: object, rise: Rise | None
) -> dict[str, object]:
    return {
        "person": person,
        "date": date,
        "set": kind,
        "mark_start": getattr(mark, "start_min", np.nan),
        "mark_peak": getattr(mark, "peak_min", np.nan),
        "mark_height": getattr(mark, "height_mg_dl", np.nan),
        "note": getattr(mark, "note", ""),
        "start": rise.start if rise else np.nan,
        "peak": rise.peak if rise else np.nan,
        "height": rise.height if rise else np.nan,
        "hills": rise.hills if rise else 0,
        "cut_by": rise.cut_by if rise else "",
    }


def summary(table: pd.DataFrame) -> str:
    marked, seen = table["mark_peak"].notna(), table["peak"].notna()
    both = table[marked & seen]
    hit = len(both)
    start = (both["start"] - both["mark_start"]).abs()
    height = (both["height"] - both["mark_height"]).abs()
    return (
        f"{marked.sum()} marks, {seen.sum()} detected, {hit} of both: "
        f"precision {hit / seen.sum():.2f}, recall {hit / marked.sum():.2f}\n"
        f"of both: start within {start.median():.0f} min (median; 90 in 100 within "
        f"{start.quantile(0.9):.0f}), height within {height.median():.0f} mg/dL "
        f"(90 in 100 within {height.quantile(0.9):.0f})"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("--within", type=float, default=30)
    parser.add_argument("--list", action="store_true", help="every rise that one side lacks")
    chosen = parser.parse_args()
    table = compare(chosen.data, chosen.within)
    for kind, part in table.groupby("set"):
        print(f"{kind} set: {summary(part)}")
    if chosen.list:
        one_side = table[table["mark_peak"].isna() | table["peak"].isna()]
        print(one_side.to_string(index=False))


if __name__ == "__main__":
    main()
