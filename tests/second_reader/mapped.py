"""Files into tables of the standard columns, by the entries of sources.toml where there are any.

Everything stays text as a standard file would have it: times as the clock showed them, numbers in
the column's own unit with a point.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

STREAMS = ("glucose", "sleep", "stress", "activity", "meals", "tags")
TIMES = ("time", "start", "end")
MINUTES = {"s": 1 / 60, "min": 1.0, "h": 60.0}
Entry = dict[str, Any]


@dataclass
class Part:
    """One file as one stream: its rows in standard columns, and which of them "where" keeps."""

    table: pd.DataFrame
    kept: pd.Series
    entry: Entry

    @property
    def rows(self) -> pd.DataFrame:
        """The rows that count as records."""
        return self.table[self.kept]


def parts_of(folder: Path) -> dict[str, list[Part]]:
    """Return the files of a client by stream."""
    found: dict[str, list[Part]] = {name: [] for name in STREAMS}
    entries = _entries(folder)
    for path in sorted(path for path in folder.iterdir() if path.suffix in (".csv", ".txt")):
        own = [entry for entry in entries if path.match(entry["file"])]
        standard = [name for name in STREAMS if path.name.startswith(name)]
        for entry in own or [{"stream": name} for name in standard]:
            found[entry["stream"]].append(_part(path, entry))
    return found


def _entries(folder: Path) -> list[Entry]:
    for place in (folder, folder.parent):
        if (place / "sources.toml").exists():
            return list(tomllib.loads((place / "sources.toml").read_text("utf-8"))["source"])
    return []


def _part(path: Path, entry: Entry) -> Part:
    cells = pd.read_csv(
        path,
        dtype="str",
        keep_default_na=False,
        sep=entry.get("delimiter", ","),
        skiprows=entry.get("skip_rows", 0),
        encoding=entry.get("encoding", "utf-8-sig"),
    )
    if entry["stream"] == "activity":
        cells = cells.drop_duplicates()
    cells = cells.replace(dict.fromkeys(entry.get("not_measured", ()), ""))
    where = entry.get("where", {})
    for name in where:  # what was not measured was not worn either
        cells = cells[cells[name] != ""]
    kept = pd.Series(True, index=cells.index)
    for name, words in where.items():
        kept &= cells[name].isin(words)
    return Part(_standard(cells, entry), kept, entry)


def _standard(cells: pd.DataFrame, entry: Entry) -> pd.DataFrame:
    columns = entry.get("columns", {name: name for name in cells})
    if "episodes" in entry:
        columns = columns | {"level": entry["episodes"]["column"]}
    found = {name: cells[own] for name, own in columns.items()}
    found |= {
        name: pd.Series(text, index=cells.index)
        for name, text in entry.get("constants", {}).items()
    }
    offset = found.pop("utc_offset", None)
    for name in TIMES:
        if name in found and "columns" in entry:
            moments = pd.to_datetime(found[name], format=entry["time_format"], errors="coerce")
            if offset is not None:
                moments += pd.to_timedelta(pd.to_numeric(offset), unit="s")
            found[name] = _text(moments)
    for name in found:
        unit = entry.get("units", {}).get(name, "min")
        if name.endswith(("_min", "_g", "_mg_dl", "_mmol_l", "_kcal")) or name == "duration":
            if entry.get("decimal") == ",":
                found[name] = found[name].str.replace(",", ".", regex=False)
            if unit != "min":
                found[name] = _scaled(found[name], MINUTES[unit])
    _in_own_words(found, entry)
    table = pd.DataFrame(found)
    return table if "end" in table or "start" not in table else _with_end(table)


def _in_own_words(found: dict[str, pd.Series], entry: Entry) -> None:
    """Say levels and meals in the words of the standard columns."""
    for name, said in (("intensity", "levels"), ("meal", "meals")):
        if name in found:
            known = {word.casefold(): meant for word, meant in entry.get(said, {}).items()}
            found[name] = found[name].str.casefold().str.strip().replace(known)


def _with_end(table: pd.DataFrame) -> pd.DataFrame:
    """Let a record end when its duration, or the time asleep and awake, has passed."""
    names = ["duration"] if "duration" in table else ["asleep_min", "awake_min"]
    minutes = sum(pd.to_numeric(table[name], errors="coerce") for name in names)
    start = pd.to_datetime(table["start"], errors="coerce")
    return table.assign(end=_text(start + pd.to_timedelta(minutes, unit="min")))


def _text(moments: pd.Series) -> pd.Series:
    return moments.map(lambda each: "" if each is pd.NaT else each.isoformat()).astype("str")


def _scaled(cells: pd.Series, factor: float) -> pd.Series:
    values = pd.to_numeric(cells, errors="coerce") * factor
    return values.map(lambda each: "" if np.isnan(each) else repr(float(each))).astype("str")
