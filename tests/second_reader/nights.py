"""Nights, days and which of them can be used, by the words of docs/definitions.md."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from raw import Raw
from readings import COVERAGE, DAY, HOUR, MINUTE

TURN = 1440.0


def sleeps_of(raw: Raw) -> pd.DataFrame:
    """Return the rows of sleep that count: of nearly equal ones the later, of rivals none."""
    found = raw.sleep.dropna(subset=["start", "end"])
    found = found[(found["end"] >= found["start"]) & (found["end"] - found["start"] <= DAY)]
    found = found.drop_duplicates().sort_values("start", kind="stable").reset_index(drop=True)
    again: set[int] = set()
    rivals: set[int] = set()
    for one in range(len(found)):
        for two in range(one + 1, len(found)):
            if found["start"][two] >= found["end"][one]:
                continue
            apart = [(found[n][one] - found[n][two]) / MINUTE for n in ("start", "end")]
            apart.append(found["asleep"][one] - found["asleep"][two])
            if any(abs(each) > 15 for each in apart):
                rivals |= {one, two}
            else:
                again.add(min(one, two, key=lambda at: found["order"][at]))
    return found.drop(index=sorted(again | (rivals - again))).reset_index(drop=True)


def nights_of(sleeps: pd.DataFrame) -> pd.DataFrame:
    """Return the night of each date of waking, with its parts put together."""
    rows = sleeps[sleeps["kind"] != "nap"].reset_index(drop=True)
    nights: list[list[int]] = []
    for at in range(len(rows)):
        if nights and rows["start"][at] - rows["end"][nights[-1][-1]] <= HOUR:
            nights[-1].append(at)
        else:
            nights.append([at])
    found = [_night(rows.iloc[parts]) for parts in nights]
    table = pd.DataFrame([night for night in found if night["counts"]])
    if table.empty:
        return pd.DataFrame(columns=["bed", "up", "asleep", "share", "deep"])
    order = table.sort_values(["main", "in_bed"], ascending=False, kind="stable")
    return order.drop_duplicates("date").set_index("date").sort_index()


def _night(parts: pd.DataFrame) -> dict[str, object]:
    bed, up = parts["start"].iloc[0], parts["end"].iloc[-1]
    whole = (up - bed) / MINUTE
    in_bed = ((parts["end"] - parts["start"]) / MINUTE).sum()
    asleep = parts["asleep"].sum(skipna=False)
    awake = parts["awake"].sum(skipna=False) + whole - in_bed
    if np.isnan(awake):
        awake = np.maximum(0.0, whole - asleep)
    clock, main = up - up.normalize(), (parts["kind"] == "main").any()
    return {
        "date": up.normalize(),
        "bed": bed,
        "up": up,
        "in_bed": in_bed,
        "asleep": in_bed if np.isnan(asleep) else asleep,
        "share": awake / whole,
        "deep": parts["deep"].sum(skipna=False) / asleep,
        "main": main,
        "counts": main or 3 * HOUR <= clock <= 14 * HOUR,
    }


def middle_of_clock(minutes: pd.Series) -> float:
    """Return the median time of day on a clock turned so that the circular mean is its middle."""
    angle = minutes / TURN * 2 * np.pi
    mean = np.arctan2(np.sin(angle).mean(), np.cos(angle).mean()) / (2 * np.pi) * TURN
    turned = (minutes - mean + TURN / 2) % TURN - TURN / 2
    return float(np.round((mean + np.median(turned)) * 60) / 60 % TURN)


def clock_of(moments: pd.Series) -> pd.Series:
    """Return times of day in minutes."""
    return (moments - moments.dt.normalize()) / MINUTE


def days_of(time: pd.Series, nights: pd.DataFrame) -> pd.DataFrame:
    """Return the days by date: start, end, bed and up of the night before, asleep (its close)."""
    wake = 240.0 if nights.empty else middle_of_clock(clock_of(nights["up"]))

    def waking(date: pd.Timestamp) -> pd.Timestamp:
        return nights["up"][date] if date in nights.index else date + wake * MINUTE

    rows, date = {}, time.iloc[0].normalize()
    while waking(date) <= time.iloc[-1]:
        known = date in nights.index
        end = waking(date + DAY)
        rows[date] = {
            "start": waking(date),
            "end": end,
            "bed": nights["bed"][date] if known else pd.NaT,
            "up": nights["up"][date] if known else pd.NaT,
            "asleep": nights["bed"][date + DAY] if date + DAY in nights.index else end,
        }
        date += DAY
    return pd.DataFrame.from_dict(rows, orient="index")


def sleep_measures(nights: pd.DataFrame, days: pd.DataFrame) -> pd.DataFrame:
    """Return the measures of the night that opens each day."""
    middle = clock_of(nights["bed"] + (nights["up"] - nights["bed"]) / 2)
    later = pd.Series(np.nan, index=nights.index)
    if len(nights) >= 8:
        later = (middle - middle_of_clock(middle) + TURN / 2) % TURN - TURN / 2
    found = pd.DataFrame(
        {
            "short_sleep": nights["asleep"] / 60,
            "long_sleep": nights["asleep"] / 60,
            "broken_sleep": nights["share"],
            "little_deep_sleep": nights["deep"],
            "late_sleep": later,
        }
    )
    return found.reindex(days.index)


def usable(raw: Raw, days: pd.DataFrame, coverage: pd.Series, illness: list[str]) -> pd.Series:
    """Return which days can be used: covered, not left out, not near a tag of illness."""
    out = {pd.Timestamp(str(each["date"])) for each in raw.settings.get("left_out", [])}
    word = re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, illness))})(?!\w)", re.IGNORECASE)
    ill = [bool(word.search(tag)) for tag in raw.tags["tag"]]
    near = {
        date + by * DAY
        for _, tag in raw.tags[ill].iterrows()
        for date in pd.date_range(tag["start"].normalize(), tag["end"].normalize())
        for by in range(-2, 3)
    }
    dates = pd.Series(days.index, index=days.index)
    return (coverage >= COVERAGE) & ~dates.isin(out | near)
