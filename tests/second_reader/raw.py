"""Records as written: strings became times and numbers, nothing else was decided.

Nothing of the package is used. Every time is what the clock showed.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
from mapped import Part, parts_of
from sampled import episodes, runs

MG_DL = 18.0156
HOUR = pd.Timedelta(hours=1)


@dataclass
class Raw:
    """The streams of one client.

    glucose: time, value (mg/dL, NaN where not a number), words ("lo", "hi", "bad", ""), sensor
    sleep: start, end, asleep, deep, awake (minutes), kind; stress and activity: start, end, ...
    meals: time, label, meal, carbs, protein, ...; tags: start, end, tag
    worn: stream -> intervals in which a sampled stream was measured
    molar: whether the readings are in mmol/L
    """

    glucose: pd.DataFrame
    sleep: pd.DataFrame
    stress: pd.DataFrame
    activity: pd.DataFrame
    meals: pd.DataFrame
    tags: pd.DataFrame
    settings: dict[str, Any]
    worn: dict[str, pd.DataFrame] = field(default_factory=dict)
    molar: bool = False


def read(folder: Path) -> Raw:
    """Read a client folder."""
    parts = parts_of(folder)
    sampled = [_episodes(part) for part in parts["stress"] if "episodes" in part.entry]
    told = [part.rows for part in parts["stress"] if "episodes" not in part.entry]
    stress = [spans(table, ("level",), ()) for table in told] + [high for high, _ in sampled]
    worn = {"stress": pd.concat([on for _, on in sampled])} if sampled else {}
    blocks = [rows for part in parts["activity"] if len(rows := _blocks(part))]
    dates = {date for on in worn.values() for date in on["start"].dt.normalize()}
    moved = _joined([_movement(part.rows) for part in parts["activity"]], _movement(pd.DataFrame()))
    if blocks:
        off = _off(moved, dates)
        every, moved = (_without(frame, off) for frame in (pd.concat(blocks), moved))
        worn["activity"] = runs(every.sort_values("start", kind="stable"), pd.Timedelta(0))
    settings = folder / "client.toml"
    return Raw(
        pd.concat([_readings(part.rows) for part in parts["glucose"]], ignore_index=True),
        _nights([part.rows for part in parts["sleep"]]),
        _joined(stress, spans(pd.DataFrame(), ("level",), ())),
        moved,
        _joined([_meals(part.rows) for part in parts["meals"]], _meals(pd.DataFrame())),
        _joined([_tags(part.rows) for part in parts["tags"]], _tags(pd.DataFrame())),
        tomllib.loads(settings.read_text("utf-8")) if settings.exists() else {},
        worn,
        molar=any("glucose_mmol_l" in part.table for part in parts["glucose"]),
    )


def _joined(frames: list[pd.DataFrame], empty: pd.DataFrame) -> pd.DataFrame:
    return pd.concat(frames, ignore_index=True) if frames else empty


def numbers(table: pd.DataFrame, name: str) -> pd.Series:
    """Return a column as numbers; what is none is NaN."""
    return pd.to_numeric(column(table, name), errors="coerce").astype(float)


def column(table: pd.DataFrame, name: str) -> pd.Series:
    """Return a column, or blanks where the file does not have it."""
    found = table[name] if name in table else pd.Series("", index=table.index, dtype="str")
    return found.fillna("")


def times(table: pd.DataFrame, name: str) -> pd.Series:
    """Return written times; the offset of a time is dropped, what the clock showed stays."""
    text = column(table, name).str.replace(r"(Z|[+-]\d\d:?\d\d)$", "", regex=True)
    return pd.to_datetime(text, format="ISO8601", errors="coerce")


def _readings(table: pd.DataFrame) -> pd.DataFrame:
    """Return the readings that say something: a number, LO, HI, or what cannot be read."""
    molar = "glucose_mmol_l" in table
    name = "glucose_mmol_l" if molar else "glucose_mg_dl"
    value = numbers(table, name) * (MG_DL if molar else 1.0)
    text = column(table, name).str.strip().str.lower()
    words = text.where(text.isin(["lo", "hi"]), "bad").where(value.isna(), "")
    found = {"time": times(table, "time"), "value": value, "words": words}
    frame = pd.DataFrame(found | {"sensor": column(table, "sensor")})
    return frame[(text != "") & frame["time"].notna()]


def _nights(tables: list[pd.DataFrame]) -> pd.DataFrame:
    """Return the sleep; without the time asleep the stages together are it.

    Stages that do not add up to the time asleep are unknown.
    """
    names = ("asleep_min", "deep_min", "rem_min", "light_min", "awake_min")
    found = spans(pd.concat(tables) if tables else pd.DataFrame(), names, ("kind",))
    stages = found["deep"] + found["rem"] + found["light"]
    asleep = found["asleep"].fillna(stages)
    apart = (stages - asleep).abs() > (0.05 * asleep).clip(lower=15)
    found = found.assign(asleep=asleep, deep=found["deep"].mask(apart))
    return found.assign(order=range(len(found)))


def _episodes(part: Part) -> tuple[pd.DataFrame, pd.DataFrame]:
    table, how = part.rows, part.entry["episodes"]
    lengths = (how["for_min"], how["join_gaps_min"])
    level = numbers(table, "level")
    high, worn = episodes(times(table, "time"), level, how["at_least"], *lengths)
    return high.assign(level=float("nan")), worn


def _movement(table: pd.DataFrame) -> pd.DataFrame:
    found = spans(table, ("steps", "active_min"), ("kind", "intensity"))
    kind = found["kind"].str.casefold().replace({"sedentary": "still", "resting": "still"})
    return found.assign(kind=kind)


def _told(rows: pd.DataFrame) -> pd.Series:
    return rows["steps"].notna() | rows["active"].notna()


def _blocks(part: Part) -> pd.DataFrame:
    """Return the blocks of a file: when the tracker was worn, "where" or not."""
    rows = _movement(part.table)
    if (rows["kind"] == "still").any():
        return rows
    rows = rows[_told(rows)]
    length = rows["end"] - rows["start"]
    usual = length.mode().iloc[0] if len(rows) >= 24 else pd.Timedelta(days=1)
    return rows if usual <= HOUR and (length == usual).mean() >= 0.5 else rows[:0]


def _off(rows: pd.DataFrame, sampled: set[pd.Timestamp]) -> set[pd.Timestamp]:
    """Return the dates on which nothing shows that the tracker was worn.

    ``sampled``: those on which another stream was sampled.
    """
    moved = rows["steps"].fillna(0) + rows["active"].fillna(0) + (rows["kind"] == "still")
    by_date = rows["start"].dt.normalize()
    off = (moved.groupby(by_date).sum() == 0) & rows["steps"].notna().groupby(by_date).any()
    return set(off.index[off]) - sampled


def _without(rows: pd.DataFrame, dates: set[pd.Timestamp]) -> pd.DataFrame:
    return rows[~rows["start"].dt.normalize().isin(dates)]


def spans(table: pd.DataFrame, values: tuple[str, ...], words: tuple[str, ...]) -> pd.DataFrame:
    """Return records with a start and an end."""
    found = {name: times(table, name) for name in ("start", "end")}
    found |= {name.removesuffix("_min"): numbers(table, name) for name in values}
    found |= {name: column(table, name) for name in words}
    return pd.DataFrame(found)


def _meals(table: pd.DataFrame) -> pd.DataFrame:
    found = {"time": times(table, "time")}
    found |= {name: column(table, name) for name in ("label", "meal")}
    found |= {name: numbers(table, f"{name}_g") for name in ("carbs", "protein", "fat")}
    found |= {f"{name}_level": column(table, f"{name}_level") for name in ("carbs", "protein")}
    return pd.DataFrame(found | {"energy": numbers(table, "energy_kcal")})


def _tags(table: pd.DataFrame) -> pd.DataFrame:
    """Return tags; one with a single time begins and ends there."""
    start = times(table, "time").fillna(times(table, "start"))
    return pd.DataFrame(
        {"start": start, "end": times(table, "end").fillna(start), "tag": column(table, "tag")}
    )
