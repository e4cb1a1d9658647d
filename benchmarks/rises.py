"""Compares the rise detector with rises marked by eye, and two pairs of eyes with each other.

    python benchmarks/rises.py FOLDER [--within 30] [--sets fifth] [--list]

The marks are in ``datasets/marked-rises``. FOLDER holds ``person-*/glucose.csv`` and
``meals.csv`` as the README of the marks describes. A detected rise and a mark are the same where
their peaks are at most ``--within`` minutes apart; each is used once, the nearest pairs first.
Precision is the share of detected rises, with their peak on a marked day, that have a mark; recall
the share of marks that have a detected rise. Starts are compared where a rise has both. It is
parted otherwise than by eye where another mark has its peak within the detected rise, or another
detected rise within the mark: there the starts are of different things.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from miner.core import resources
from miner.tables.glucose.rises import Rise, find_rises

MG_DL = 18.0156
DAY = 1440
CLOSE, FAR = 5, 20  # minutes between two starts
PAIRS = {  # of the sets that were marked twice
    "first again": "cd",
    "second again": "cd",
    "third": "ab",
    "fourth": "ab",
    "fifth": "cd",
    "sixth": "ef",
}


@cache
def readings(folder: Path) -> tuple[pd.Series, pd.Series, pd.Series]:
    glucose = pd.read_csv(folder / "glucose.csv")
    meals = pd.read_csv(folder / "meals.csv", encoding="utf-8-sig")
    at = pd.to_datetime(glucose["bg_ts"], format="%d/%m/%Y %H:%M", errors="coerce")
    eaten = pd.to_datetime(meals["meal_ts"], format="%d/%m/%Y %H:%M", errors="coerce")
    return at, pd.to_numeric(glucose["value"], errors="coerce") * MG_DL, eaten


@cache
def detected(folder: Path, day: pd.Timestamp, **thresholds: float) -> tuple[Rise, ...]:
    """The rises of one day, in minutes after its midnight, with a day either side to see them."""
    at, values, eaten = readings(folder)
    minutes = ((at - day) / pd.Timedelta(minutes=1)).to_numpy()
    meals = ((eaten - day) / pd.Timedelta(minutes=1)).to_numpy()
    near = (minutes > -DAY) & (minutes < 2 * DAY)
    return find_rises(minutes[near], values.to_numpy()[near], meals, **thresholds)


def pairs(marks: Iterable[float], peaks: Iterable[float], within: float) -> list[tuple[int, int]]:
    """Which peak goes with which, the nearest first, each used once."""
    others = list(peaks)
    apart = [
        (abs(mark - peak), i, j) for i, mark in enumerate(marks) for j, peak in enumerate(others)
    ]
    taken: list[tuple[int, int]] = []
    for gap, i, j in sorted(apart):
        if gap <= within and all(i != a and j != b for a, b in taken):
            taken.append((i, j))
    return taken


def marks() -> pd.DataFrame:
    files = sorted((resources.folder("datasets") / "marked-rises").glob("person-*.csv"))
    return pd.concat([pd.read_csv(file).assign(person=file.stem) for file in files])


def compare(data: Path, of: pd.DataFrame, within: float, **thresholds: float) -> pd.DataFrame:
    """One row a mark or detected rise of a marked day; what is missing on one side is NaN."""
    rows = []
    for (person, date, kind, eyes), marked in of.groupby(["person", "date", "set", "eyes"]):
        found = detected(data / str(person), pd.Timestamp(str(date)), **thresholds)
        paired = pairs(marked["peak_min"], (rise.peak for rise in found), within)
        of_mark, of_rise = dict(paired), {j: i for i, j in paired}
        place = (str(person), date, kind if eyes == "one" else f"{kind} ({eyes})")
        for i, mark in enumerate(marked.itertuples()):
            rise = found[of_mark[i]] if i in of_mark else None
            if 0 <= mark.peak_min < DAY or rise:
                rows.append(_row(place, mark, rise))
        rows += [
            _row(place, None, rise)
            for j, rise in enumerate(found)
            if j not in of_rise and 0 <= rise.peak < DAY
        ]
    return pd.DataFrame(rows)


def agreement(kind: str, within: float) -> dict[str, object]:
    """How far the starts of two pairs of eyes lie apart where both marked a rise of one set."""
    apart: list[float] = []
    counts = np.zeros(2, int)
    for _, day in marks().query("set == @kind").groupby(["person", "date"]):
        one, other = (day[day["eyes"] == eyes] for eyes in PAIRS[kind])
        paired = pairs(one["peak_min"], other["peak_min"], within)
        starts = one["start_min"].to_numpy(), other["start_min"].to_numpy()
        apart += [starts[1][j] - starts[0][i] for i, j in paired]
        counts += len(one), len(other)
    return {
        "set": kind,
        "marks": "{} and {}".format(*counts),
        "of both": len(apart),
        **_starts(pd.Series(apart)),
    }


def _starts(later: pd.Series) -> dict[str, object]:
    apart = later.abs()
    return {
        "median, min": f"{apart.median():.0f}",
        f"within {CLOSE}": f"{(apart <= CLOSE).mean():.2f}",
        f"within {FAR}": f"{(apart <= FAR).mean():.2f}",
        "earlier, later": f"{(later < -FAR).sum()}, {(later > FAR).sum()}",
    }


def _row(place: tuple[str, object, object], mark: object, rise: Rise | None) -> dict[str, object]:
    person, date, kind = place
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


def parted_otherwise(table: pd.DataFrame) -> pd.Series:
    """Where a mark holds the peak of another detected rise, or a detected rise that of a mark."""
    otherwise = pd.Series(False, table.index)
    for _, day in table.groupby(["person", "date", "set"]):
        for i, row in day.iterrows():
            others = day.drop(index=i)
            otherwise[i] = bool(
                others["peak"].between(row["mark_start"], row["mark_peak"], "neither").any()
                or others["mark_peak"].between(row["start"], row["peak"], "neither").any()
            )
    return otherwise


def summary(kind: str, table: pd.DataFrame) -> dict[str, object]:
    marked, seen = table["mark_peak"].notna(), table["peak"].notna()
    both = table[marked & seen]
    later = both["start"] - both["mark_start"]
    otherwise = parted_otherwise(table)[both.index]
    height = (both["height"] - both["mark_height"]).abs()
    return {
        "set": kind,
        "marks": marked.sum(),
        "detected": seen.sum(),
        "of both": len(both),
        "precision": f"{len(both) / seen.sum():.2f}",
        "recall": f"{len(both) / marked.sum():.2f}",
        **_starts(later),
        "parted otherwise": otherwise.sum(),
        f"others within {FAR}": f"{(later[~otherwise].abs() <= FAR).mean():.2f}",
        "height, mg/dL": f"{height.median():.0f}",
    }


def written(rows: list[dict[str, object]]) -> str:
    lines = [list(rows[0]), ["---"] * len(rows[0]), *([*row.values()] for row in rows)]
    return "\n".join("| " + " | ".join(map(str, line)) + " |" for line in lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("--within", type=float, default=30)
    parser.add_argument("--sets", nargs="*", help="these sets of marks alone")
    parser.add_argument("--list", action="store_true", help="every rise that one side lacks")
    chosen = parser.parse_args()
    of = marks()
    of = of[of["set"].isin(chosen.sets or of["set"].unique())]
    table = compare(chosen.data, of, chosen.within).reset_index(drop=True)
    rows = [summary(str(kind), part) for kind, part in table.groupby("set")]
    twice = table[table["set"].str.endswith(")")]
    print(written([*rows, summary("all marked twice", twice)]))
    print("\nThe two pairs of eyes:\n")
    print(written([agreement(kind, chosen.within) for kind in PAIRS if kind in set(of["set"])]))
    if chosen.list:
        one_side = table[table["mark_peak"].isna() | table["peak"].isna()]
        print(one_side.to_string(index=False))


if __name__ == "__main__":
    main()
