"""Readings that count, and what is made of them; the words are those of docs/definitions.md."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from raw import MG_DL, Raw

MINUTE, HOUR, DAY = (pd.Timedelta(1, unit) for unit in ("min", "h", "D"))
COVERAGE = 0.7
FAR = 1e6


def readings_of(raw: Raw) -> pd.DataFrame:
    """Return the readings that count: each once, none in doubt, none of a sensor's first day."""
    found = raw.glucose[raw.glucose["words"] != "bad"]
    found = found[~((found["value"] < 20) | (found["value"] > 600))]
    low, high = possible(found["time"])
    found = found[(found["time"] >= low) & (found["time"] <= high)]
    found = found.sort_values("time", kind="stable").reset_index(drop=True)
    found = found[~written_twice(found)].reset_index(drop=True)
    minute = found["time"].dt.floor("min")
    found = found[~minute.duplicated(keep=False)].reset_index(drop=True)
    return _without_first_days(found, raw.settings.get("sensor_changes", []))


def _without_first_days(found: pd.DataFrame, declared: list[object]) -> pd.DataFrame:
    """Number the sensors by the declared changes, and leave out the first 24 hours of each."""
    changes = pd.to_datetime([str(each) for each in declared]).sort_values()
    named = found[found["sensor"] != ""].groupby("sensor")["time"].min().sort_values()
    begins = [
        *changes,
        *(
            first
            for first in named.iloc[1:]
            if not any(first - DAY < change <= first for change in changes)
        ),
    ]
    if len(changes):
        number = np.searchsorted(changes.to_numpy(), found["time"].to_numpy(), side="right")
        numbers = pd.Series(number, index=found.index).astype(str)
        found = found.assign(sensor=found["sensor"].where(found["sensor"] != "", numbers))
    young = np.zeros(len(found), dtype=bool)
    for begin in begins:
        young |= (found["time"] >= begin) & (found["time"] < begin + DAY)
    return found[~young].reset_index(drop=True)


def possible(time: pd.Series) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Return between which dates a row can be: from 2000 on, 400 days from the middle readings."""
    time = time[time >= pd.Timestamp("2000-01-01")]
    low, high = time.quantile(0.1).normalize(), time.quantile(0.9).normalize() + DAY
    apart = pd.Timedelta(days=400)
    return max(pd.Timestamp("2000-01-01"), low - apart), high + apart


def written_twice(found: pd.DataFrame) -> np.ndarray:
    """Return which readings stand within a minute before already, with the same value."""
    gaps = found["time"].drop_duplicates().diff()
    near = min(MINUTE, gaps[gaps <= DAY].mode().iloc[0] // 2)
    again = np.zeros(len(found), dtype=bool)
    for back in (1, 2, 3):
        before = found.shift(back)
        same = (found["value"] - before["value"]).abs() <= 1.5
        same |= (found["words"] == before["words"]) & (found["words"] != "")
        one = (found["sensor"] == before["sensor"]) | (found["sensor"] == "")
        one |= before["sensor"] == ""
        again |= ((found["time"] - before["time"] <= near) & same & one).to_numpy()
    return again


def ranked(frame: pd.DataFrame) -> pd.Series:
    """Return the readings with LO below and HI above every number."""
    return frame["value"].mask(frame["words"] == "lo", -np.inf).mask(frame["words"] == "hi", np.inf)


def finite(value: float) -> float:
    """Return a number, or unknown where LO or HI would be it."""
    return float(value) if np.isfinite(value) else np.nan


def upper_limit(raw: Raw) -> float:
    """Return the upper end of the client's range in mg/dL, in the unit of the file to a tenth."""
    limit = raw.settings.get("range", (70, 140))[1]
    return round(limit / MG_DL, 1) * MG_DL + 1e-9 if raw.molar else limit


@dataclass
class Trace:
    """Readings with the minutes each stands for and the smoothed line."""

    frame: pd.DataFrame

    def __post_init__(self) -> None:
        frame = self.frame
        gap = (frame["time"].shift(-1) - frame["time"]) / MINUTE
        cadence = self._cadence()
        stands = gap.fillna(np.inf).clip(upper=cadence)
        self.frame = frame.assign(stands=stands, smooth=self._smoothed())

    def _cadence(self) -> pd.Series:
        """Return the commonest gap of each date, or of the sensor where that is longer."""
        frame = self.frame
        to_next = frame.groupby("sensor")["time"].shift(-1) - frame["time"]
        whole = (to_next / MINUTE).round()
        known = whole[(whole > 0) & (whole <= 60)]
        record = float(known.mode().iloc[0]) if len(known) else 5.0
        found = pd.Series(record, index=frame.index)
        for _, sensor in frame.groupby("sensor"):
            all_days = known.reindex(sensor.index).dropna()
            usual = float(all_days.mode().iloc[0]) if len(all_days) else record
            for _, date in sensor.groupby(sensor["time"].dt.normalize()):
                own = known.reindex(date.index).dropna()
                of_date = float(own.mode().iloc[0]) if len(own) >= 12 else usual
                found[date.index] = max(usual, of_date)
        return found

    def _smoothed(self) -> pd.Series:
        """Return the median of the 15 minutes around each reading, LO and HI by their rank."""
        parts = []
        for _, group in self.frame.groupby("sensor"):
            line = ranked(group).clip(-FAR, FAR).set_axis(pd.DatetimeIndex(group["time"]))
            middle = line.rolling("15min", center=True, closed="both").median()
            middle = middle.mask(middle > FAR / 3, np.inf).mask(middle < -FAR / 3, -np.inf)
            parts.append(middle.set_axis(group.index))
        return pd.concat(parts).sort_index()

    def between(
        self, start: pd.Timestamp, end: pd.Timestamp, *, with_end: bool = False
    ) -> pd.DataFrame:
        """Return the readings from start until before end, or with a reading at the end."""
        time = self.frame["time"]
        first = time.searchsorted(start, side="left")
        return self.frame.iloc[first : time.searchsorted(end, side="right" if with_end else "left")]


def covered(frame: pd.DataFrame, start: pd.Timestamp, end: pd.Timestamp, *, words: bool) -> float:
    """Return the share of a window that its readings stand for, LO and HI among them or not."""
    length = (end - start) / MINUTE
    kept = frame if words else frame[frame["words"] == ""]
    return min(1.0, kept["stands"].sum() / length) if length > 0 else 0.0


def of_the_day(trace: Trace, days: pd.DataFrame, above: float) -> pd.DataFrame:
    """Return the outcomes by day."""
    return pd.DataFrame([_of_one(trace, day, above) for _, day in days.iterrows()], days.index)


def _of_one(trace: Trace, day: pd.Series, above: float) -> dict[str, float]:
    row = dict.fromkeys(
        [
            "wake_glucose",
            "overnight_mean",
            "day_mean",
            "variability",
            "minutes_above",
            "biggest_rise",
        ],
        np.nan,
    )
    span = (day["start"], day["end"])
    waking = trace.between(*span)
    row["coverage"] = covered(waking, *span, words=True)
    row["day_mean"], row["variability"] = mean_and_sd(waking, *span)
    if row["coverage"] >= COVERAGE:
        over = waking["stands"][(waking["value"] > above) | (waking["words"] == "hi")].sum()
        row["minutes_above"] = over / waking["stands"].sum() * 1440
        row["biggest_rise"] = biggest_rise(waking)
    known = day["up"] is not pd.NaT
    if known:
        hour = trace.between(day["up"] - HOUR, day["up"])
        if covered(hour, day["up"] - HOUR, day["up"], words=True) >= COVERAGE:
            row["wake_glucose"] = finite(np.median(ranked(hour)))
    night = (day["bed"], day["up"]) if known else (day.name, day.name + 6 * HOUR)
    row["overnight_mean"] = mean_and_sd(trace.between(*night), *night)[0]
    return row


def mean_and_sd(frame: pd.DataFrame, start: pd.Timestamp, end: pd.Timestamp) -> tuple[float, float]:
    """Return the mean and the SD, weighted by the minutes each reading stands for."""
    if covered(frame, start, end, words=False) < COVERAGE:
        return np.nan, np.nan
    known = frame[frame["words"] == ""]
    values, weights = known["value"].to_numpy(), known["stands"].to_numpy()
    mean = np.average(values, weights=weights)
    square = np.average((values - mean) ** 2, weights=weights)
    n = len(values)
    return float(mean), float(np.sqrt(square * n / (n - 1))) if n > 1 else np.nan


def biggest_rise(frame: pd.DataFrame) -> float:
    """Return the largest climb from a smoothed reading to a later one within 3 hours."""
    best = 0.0
    for _, group in frame.groupby("sensor"):
        time, line = group["time"].to_numpy(), group["smooth"].to_numpy()
        until = np.searchsorted(time, time + np.timedelta64(3, "h"), side="right")
        for at, low in enumerate(line):
            high = line[at : until[at]].max()
            best = max(best, 0.0 if high == low else high - low)
    return finite(best)
