"""What real folders hold and invented months do not: added to a folder of standard files."""

from __future__ import annotations

import csv
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

Rng = np.random.Generator
MINUTES = ("asleep_min", "deep_min", "rem_min", "light_min", "awake_min")


def spoil(folder: Path, rng: Rng) -> None:
    """Add parts of nights, missing ends, levels for grams, rows that are no food, and blocks."""
    nights = _rows(folder / "sleep.csv")
    ends = (datetime.fromisoformat(row["end"]) for row in nights)
    days = sorted({end.replace(hour=0, minute=0) for end in ends})
    for change, share in (
        (_parts_of_nights, 0.7),
        (_levels_and_more, 0.8),
        (_movement, 0.6),
        (_blocks, 0.5),
        (_stress, 0.7),
        (_tags, 0.7),
    ):
        if rng.random() < share:
            change(folder, days, rng)


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _write(path: Path, rows: list[dict[str, object]]) -> None:
    names = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, names, restval="")
        writer.writeheader()
        writer.writerows(rows)


def _at(day: datetime, hour: float) -> str:
    return (day + timedelta(minutes=round(hour * 60))).isoformat()


def _parts_of_nights(folder: Path, days: list[datetime], rng: Rng) -> None:
    """Cut nights in two with a gap, and leave some unmarked or without the time asleep."""
    found: list[dict[str, object]] = []
    plain = rng.random() < 0.5
    for row in _rows(folder / "sleep.csv"):
        if plain and row["kind"] == "main":
            row["kind"] = ""
        start, end = (datetime.fromisoformat(row[name]) for name in ("start", "end"))
        if row["kind"] == "nap" or rng.random() < 0.75:
            if rng.random() < 0.1:
                row |= dict.fromkeys(MINUTES, "")
            found.append(row)
            continue
        gap = timedelta(minutes=int(rng.choice([20, 60, 61, 90])))
        middle = start + (end - start) / 2
        middle = middle.replace(second=0, microsecond=0)
        halves = {name: str(int(row[name]) // 2) for name in MINUTES if row[name]}
        asleep = int((middle - start).total_seconds() // 60) - 15
        halves |= {
            "asleep_min": str(asleep),
            "deep_min": "40",
            "rem_min": "50",
            "light_min": str(asleep - 90),
            "awake_min": "15",
        }
        found.append(row | halves | {"end": middle.isoformat(), "awakenings": ""})
        late = int((end - middle - gap).total_seconds() // 60) - 10
        if late > 100:
            halves = {
                "asleep_min": str(late),
                "deep_min": "40",
                "rem_min": "50",
                "light_min": str(late - 90),
                "awake_min": "10",
            }
            found.append(row | halves | {"start": (middle + gap).isoformat(), "awakenings": ""})
    _write(folder / "sleep.csv", found)


def _levels_and_more(folder: Path, days: list[datetime], rng: Rng) -> None:
    """Add meals with levels, types, energy, several rows at once, and rows that are no food."""
    words = (
        "chicken and rice",
        "2 eggs, toast",
        "soup\nbread 100 g",
        "pancakes",
        "egg",
        "large bowl of porridge",
        "late supper",
        "lunch leftovers",
        "cake",
        "2 lb potatoes \u2022 1/2 avocado",
        "toast x 2 - jam 1.5 tsp",
        "\u00bd avocado",
        "x3 crackers 7up",
        "rice 1 cup beans 200 cals",
        "a potato, plum-jam sandwich",
        "shepherd\u2019s pie 50%",
    )
    other = (
        "glucose tablets",
        "hypo",
        "correction",
        "Metformin 500 mg",
        "not reported",
        "fasting",
        "glucose",
        "nothing eaten",
        "unknown",
        "?",
        "ibuprofen, insulin",
    )
    found: list[dict[str, object]] = []
    for day in days:
        for _ in range(int(rng.integers(0, 3))):
            row: dict[str, object] = {
                "time": _at(day, rng.uniform(4.5, 25.5)),
                "label": str(rng.choice(words)),
            }
            if rng.random() < 0.4:
                row["meal"] = str(rng.choice(["breakfast", "lunch", "dinner", "snack"]))
            if rng.random() < 0.6:
                row |= {"carbs_g": int(rng.integers(0, 90)), "protein_g": int(rng.integers(0, 30))}
                row["energy_kcal"] = 4 * row["carbs_g"] + 4 * row["protein_g"] + 90
            elif rng.random() < 0.7:
                row["carbs_level"] = str(rng.choice(["low", "moderate", "high"]))
                row["protein_level"] = str(rng.choice(["", "low", "moderate", "high"]))
            found.append(row)
            if rng.random() < 0.3:
                again = datetime.fromisoformat(str(row["time"]))
                later = again + timedelta(minutes=int(rng.choice([5, 15, 16])))
                found.append(row | {"time": later.isoformat(), "label": "apple"})
        if rng.random() < 0.35:
            row = {"time": _at(day, rng.uniform(5, 25)), "label": str(rng.choice(other))}
            if rng.random() < 0.3:
                row["carbs_g"] = 15
            if rng.random() < 0.2:
                row |= {"label": "orange juice", "meal": "not_food"}
            found.append(row)
    if found:
        _write(folder / "meals-more.csv", found)


def _movement(folder: Path, days: list[datetime], rng: Rng) -> None:
    """Add bouts without an end, without an intensity, and bouts of many steps."""
    kinds = ("Walking", "run", "yoga", "exercise bike", "gardening")
    found: list[dict[str, object]] = []
    for day in days:
        if rng.random() < 0.5:
            start, length = rng.uniform(7, 21), int(rng.integers(8, 70))
            row: dict[str, object] = {"start": _at(day, start), "kind": str(rng.choice(kinds))}
            row["end"] = _at(day, start + length / 60) if rng.random() < 0.75 else ""
            row["intensity"] = str(rng.choice(["", "", "light", "moderate", "vigorous"]))
            if rng.random() < 0.3:
                row["steps"] = int(rng.choice([200, 80 * length]))
            found.append(row)
    if found:
        _write(folder / "activity-more.csv", found)


def _blocks(folder: Path, days: list[datetime], rng: Rng) -> None:
    """Put blocks of a quarter of an hour in the place of the activity, with gaps."""
    found: list[dict[str, object]] = []
    for day in days:
        on, off = sorted(rng.uniform(0, 24, 2)) if rng.random() < 0.3 else (0.0, 24.0)
        for quarter in range(96):
            if not on <= quarter / 4 < off:
                continue
            asleep = quarter < 28 or quarter > 92
            steps = 0 if asleep or rng.random() < 0.5 else int(rng.integers(1, 1300))
            row: dict[str, object] = {
                "start": _at(day, quarter / 4),
                "end": _at(day, quarter / 4 + 0.25),
                "kind": "steps",
                "steps": steps,
            }
            found.append(row)
            if steps > 600:
                kind = str(rng.choice(["walking", "running"]))
                found.append(
                    row | {"kind": kind, "steps": "", "active_min": int(rng.integers(1, 16))}
                )
    _write(folder / "activity.csv", found)


def _stress(folder: Path, days: list[datetime], rng: Rng) -> None:
    """Add episodes without an end or without a level."""
    found: list[dict[str, object]] = []
    for day in days:
        if rng.random() < 0.4:
            start = rng.uniform(6, 22)
            end = "" if rng.random() < 0.5 else _at(day, start + rng.uniform(0.2, 2))
            found.append({"start": _at(day, start), "end": end, "level": "" if end else 80})
    if found:
        _write(folder / "stress-more.csv", found)


def _tags(folder: Path, days: list[datetime], rng: Rng) -> None:
    """Add tags that last, some over midnight, one of an illness, and one of a medicine."""
    found: list[dict[str, object]] = []
    for day in days:
        if rng.random() < 0.3:
            start = rng.uniform(8, 23)
            found.append(
                {
                    "start": _at(day, start),
                    "end": _at(day, start + rng.uniform(0.5, 14)),
                    "tag": str(rng.choice(["Night shift", "wine", "insulin"])),
                }
            )
    if rng.random() < 0.4:
        middle = days[len(days) // 2]
        end = "" if rng.random() < 0.5 else _at(middle, rng.uniform(11, 60))
        found.append({"start": _at(middle, 10), "end": end, "tag": "fever"})
    if found:
        _write(folder / "tags-more.csv", found)
