"""Stress and movement by day and by meal, by the words of docs/definitions.md."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import pandas as pd
from measure import UNKNOWN, Measure, at_least, sure
from raw import Raw
from readings import HOUR, MINUTE

EXERCISE = re.compile(
    "run|jog|cycl|bik|swim|row|hik|climb|danc|gym|sport|tennis|football|soccer|basketball|exercise"
    "|workout|training|strength|aerobic"
)
WORN = 0.5
WEEK = pd.Timedelta(days=7)


def overlap(
    spans: pd.DataFrame, start: pd.Timestamp, end: pd.Timestamp
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return which intervals share time with a window, and their part of it in its minutes."""
    begin, stop = (
        (spans[name].to_numpy("datetime64[ns]") - start.to_datetime64()) / np.timedelta64(1, "m")
        for name in ("start", "end")
    )
    length = (end - start) / MINUTE
    at = np.flatnonzero((begin < length) & (stop > 0))
    return at, np.maximum(begin[at], 0.0), np.minimum(stop[at], length)


def touches(spans: pd.DataFrame, start: pd.Timestamp, end: pd.Timestamp) -> bool:
    """Say whether any interval shares time with a window."""
    return len(overlap(spans, start, end)[0]) > 0


def minutes_in(spans: pd.DataFrame, start: pd.Timestamp, end: pd.Timestamp) -> float:
    """Return the minutes of a window in which intervals lie, each at its own rate, at most one.

    The rate is the minutes of movement a row tells over its length; of other rows it is 1.
    """
    at, begin, stop = overlap(spans, start, end)
    rate = np.ones(len(at))
    if "active" in spans:
        length = (spans["end"] - spans["start"]).to_numpy()[at] / np.timedelta64(1, "m")
        told = spans["active"].to_numpy(dtype=float)[at]
        rate = np.where(np.isnan(told), 1.0, np.minimum(told / length, 1.0))
    edges = np.unique(np.concatenate([begin, stop]))
    total = 0.0
    for one, two in pairwise(edges):
        total += (two - one) * min(1.0, rate[(begin <= one) & (stop >= two)].sum())
    return total


class Tracker:
    """What the tracker recorded, and when it was worn."""

    def __init__(self, raw: Raw, days: pd.DataFrame) -> None:
        self.raw, self.days = raw, days
        streams = ("sleep", "stress", "activity")
        whole = {name: getattr(raw, name).dropna(subset=["start"]) for name in streams}
        self.doubt = {name: _in_doubt(rows) for name, rows in whole.items()}
        self.rows = {name: _ended(rows) for name, rows in whole.items()}
        stress = self.rows["stress"]
        self.stress = stress
        if "stress" not in raw.worn and stress["level"].notna().any():
            unsaid = stress["level"].isna()
            self.doubt["stress"] = pd.concat([self.doubt["stress"], stress[unsaid]])
            self.stress = stress[~unsaid]
        moved = self.rows["activity"]
        self.on = self.rows | {"activity": moved[moved["steps"] != 0]}
        kind = moved["kind"].str.casefold()
        walking = kind.str.contains("walk") | _fast(moved)
        hard = moved["intensity"].isin(["moderate", "vigorous"])
        exercise = kind.str.contains(EXERCISE) & (moved["intensity"] == "")
        self.walks = moved[walking]
        self.active = moved[(walking | hard | exercise) & (kind != "still")]
        self.vigorous = moved[moved["intensity"] == "vigorous"]
        self.unsaid = moved[exercise]
        self.has_intensity = bool((moved["intensity"] != "").any())
        moved = moved.assign(middle=moved["start"] + (moved["end"] - moved["start"]) / 2)
        self.counted = moved[moved["steps"].notna()]
        self.blocks = self.counted[self.counted["kind"].isin(["steps", "still"])]
        all_steps = self.counted[self.counted["kind"] == "steps"]
        rest = self.counted.drop(index=all_steps.index)
        again = [touches(all_steps, a, b) for a, b in zip(rest["start"], rest["end"], strict=True)]
        self.once = self.counted.drop(index=rest.index[np.array(again, dtype=bool)])
        dates = self.counted["middle"].dt.normalize().nunique()
        every = moved["middle"].dt.normalize()
        span = (every.max() - every.min()).days + 1 if len(every) else 0
        self.counts_steps = bool(dates) and dates >= span / 2
        self.without_steps = {date: self.stepless(day) for date, day in days.iterrows()}

    @staticmethod
    def steps_of(rows: pd.DataFrame, day: pd.Series) -> float | None:
        """Return the steps of the rows whose middle is in the day."""
        mine = rows[(rows["middle"] >= day["start"]) & (rows["middle"] < day["end"])]
        return float(mine["steps"].sum()) if len(mine) else None

    def known(self, stream: str, start: pd.Timestamp, end: pd.Timestamp, day: pd.Series) -> bool:
        """Say whether a stream was measured in a window of a day."""
        if end <= start:
            return False
        if stream in self.raw.worn:
            _, begin, stop = overlap(self.raw.worn[stream], start, end)
            return bool((stop - begin).sum() / ((end - start) / MINUTE) >= WORN)
        own = self.rows[stream]
        if own.empty:
            return False
        near = day["end"] >= own["start"].min() - WEEK and day["start"] <= own["end"].max() + WEEK
        on = any(touches(rows, day["start"], day["end"]) for rows in self.on.values())
        return bool(near and on)

    def stepless(self, day: pd.Series) -> bool:
        """Say whether a day is without a step where steps are counted."""
        doubt = self.doubt["activity"]
        if touches(doubt[doubt["steps"].notna()], day["start"], day["end"]):
            return False
        steps = self.steps_of(self.counted, day)
        return steps == 0 or (steps is None and self.counts_steps)

    def moving(self, start: pd.Timestamp, end: pd.Timestamp, day: pd.Series) -> bool:
        """Say whether movement is known in a window: not on a day without a step."""
        if not self.known("activity", start, end, day):
            return False
        return "activity" in self.raw.worn or not self.without_steps[day.name]

    def stressed(self, start: pd.Timestamp, end: pd.Timestamp, day: pd.Series) -> Measure:
        """Return the stressed minutes of a window."""
        sampled = "stress" in self.raw.worn
        if not self.known("stress", start, end, day) or (
            not sampled and self.without_steps[day.name]
        ):
            return UNKNOWN
        minutes = minutes_in(self.stress, start, end)
        doubt = touches(self.doubt["stress"], start, end)
        return at_least(minutes) if doubt else sure(minutes)

    def moved(
        self,
        rows: pd.DataFrame,
        start: pd.Timestamp,
        end: pd.Timestamp,
        day: pd.Series,
        doubtful: pd.DataFrame,
    ) -> Measure:
        """Return the minutes of some rows in a window."""
        if not self.moving(start, end, day):
            return UNKNOWN
        minutes = minutes_in(rows, start, end)
        return at_least(minutes) if touches(doubtful, start, end) else sure(minutes)

    def walked(self, start: pd.Timestamp, day: pd.Series) -> Measure:
        """Return the walking minutes of the hour from a meal."""
        doubt = self.doubt["activity"]
        doubt = doubt[doubt["kind"].str.casefold().str.contains("walk") | doubt["steps"].notna()]
        return self.moved(self.walks, start, start + HOUR, day, doubt)

    def of_day(self, day: pd.Series) -> dict[str, Measure]:
        """Return the measures of one waking day."""
        awake = (day["start"], day["asleep"])
        noon, evening = day.name + 12 * HOUR, day.name + 18 * HOUR
        doubt = self.doubt["activity"]
        kind = doubt["kind"].str.casefold()
        exercise = kind.str.contains(EXERCISE) & (doubt["intensity"] == "")
        moving = kind.str.contains("walk") | exercise | doubt["steps"].notna()
        moving |= doubt["intensity"].isin(["moderate", "vigorous"])
        hard = doubt[exercise | (doubt["intensity"] == "vigorous")]
        vigorous = self.moved(self.vigorous, *awake, day, pd.concat([hard, self.unsaid]))
        return {
            "much_stress": self.stressed(*awake, day),
            "morning_stress": self.stressed(awake[0], min(noon, awake[1]), day),
            "evening_stress": self.stressed(max(evening, awake[0]), awake[1], day),
            "active_day": self.moved(self.active, *awake, day, doubt[moving]),
            "vigorous_activity": vigorous if self.has_intensity else UNKNOWN,
            "few_steps": self.few_steps(day),
        }

    def few_steps(self, day: pd.Series) -> Measure:
        """Return the steps of the whole day."""
        if not self.moving(day["start"], day["end"], day):
            return UNKNOWN
        steps = self.steps_of(self.once, day)
        doubt = self.doubt["activity"]
        doubtful = touches(doubt[doubt["steps"].notna()], day["start"], day["end"])
        if self.steps_of(self.blocks, day) is None:
            covered = minutes_in(
                self.counted.drop(columns="active", errors="ignore"), day["start"], day["asleep"]
            )
            doubtful |= covered < (day["asleep"] - day["start"]) / MINUTE / 2
        if steps is None:
            return UNKNOWN
        return at_least(steps) if doubtful else sure(steps)


def _ended(rows: pd.DataFrame) -> pd.DataFrame:
    good = rows["end"].notna() & (rows["end"] >= rows["start"])
    good &= rows["end"] - rows["start"] <= pd.Timedelta(days=1)
    return rows[good]


def _in_doubt(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows whose end cannot be used; they may have lasted an hour."""
    rows = rows.drop(index=_ended(rows).index)
    return rows.assign(end=rows["start"] + HOUR)


def _fast(moved: pd.DataFrame) -> pd.Series:
    """Return which rows are walking by their steps: 1000 a quarter of an hour or more."""
    quarters = (moved["end"] - moved["start"]) / (15 * MINUTE)
    fast = (moved["steps"] >= 1000 * quarters) & (quarters > 0)
    if "active" in moved and fast.any():
        told = moved[moved["active"].notna()]
        for at in moved.index[fast]:
            if touches(told, moved["start"][at], moved["end"][at]):
                fast[at] = False
    return fast
