"""The day table and the meal table once more: outcomes, measures and habits by the rule books."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
from food import Diary, carb_only, carbs_of, protein_of
from labels import Words, folded, matches
from measure import UNKNOWN, Measure, habit, sure
from nights import days_of, nights_of, sleep_measures, sleeps_of, usable
from raw import Raw
from readings import (
    COVERAGE,
    HOUR,
    MINUTE,
    Trace,
    covered,
    finite,
    of_the_day,
    possible,
    ranked,
    readings_of,
    upper_limit,
)
from tracker import Tracker

RULES = Path(__file__).resolve().parents[2] / "rules"
TWO_HOURS = 2 * HOUR


def rule_book(name: str) -> dict[str, dict[str, object]]:
    """Return one of the rule books."""
    return tomllib.loads((RULES / f"{name}.toml").read_text(encoding="utf-8"))


def _possible_dates(raw: Raw) -> Raw:
    """Leave out the rows of other streams with dates that are not near those of the readings."""
    low, high = possible(raw.glucose["time"])
    kept = {}
    for name in ("sleep", "stress", "activity", "meals", "tags"):
        rows = getattr(raw, name)
        time = rows["time" if "time" in rows else "start"]
        kept[name] = rows[(time.isna() | ((time >= low) & (time <= high))).to_numpy()]
    return replace(raw, **kept)


@dataclass
class Table:
    """Outcomes, measures and habits by unit."""

    outcomes: pd.DataFrame
    measures: pd.DataFrame
    habits: pd.DataFrame


class Second:
    """One client, read a second time."""

    def __init__(self, raw: Raw) -> None:
        self.raw = raw = _possible_dates(raw)
        self.rules, self.cautions = rule_book("factors"), rule_book("cautions")
        self.trace = Trace(readings_of(raw))
        self.above = upper_limit(raw)
        nights = nights_of(sleeps_of(raw))
        self.days = days_of(self.trace.frame["time"], nights)
        self.sleep = sleep_measures(nights, self.days)
        self.outcomes = of_the_day(self.trace, self.days, self.above)
        illness = self.cautions["illness_words"]
        self.usable = usable(raw, self.days, self.outcomes["coverage"], illness)  # type: ignore[arg-type]
        self.tracker = Tracker(raw, self.days)
        definitions = (RULES.parent / "docs" / "definitions.md").read_text(encoding="utf-8")
        self.words = Words.of(self.cautions, definitions)  # type: ignore[arg-type]
        self.diary = Diary(raw, self.days, self.words)
        self.tags = self._tags()
        self.logged = {self.diary.day_of(time) for time in self.diary.log["time"]}

    def _tags(self) -> pd.DataFrame:
        tags = self.raw.tags.dropna(subset=["start"])
        return tags.assign(tag=tags["tag"].map(folded))

    def day_table(self) -> Table:
        """Return one row a day."""
        rows = []
        for date, day in self.days.iterrows():
            row = {name: sure(self.sleep[name][date]) for name in self.sleep}
            row |= self.tracker.of_day(day)
            row |= self.diary.of_day(day)
            names = self.diary.names.get(date, {})
            for name in ("breakfast", "lunch", "dinner"):
                at = names.get(name)
                row[f"walk_after_{name}"] = (
                    UNKNOWN
                    if at is None
                    else self.tracker.walked(self.diary.meals["time"][at], day)
                )
            rows.append(row)
        measures = pd.DataFrame(rows, index=self.days.index)
        for tag in self.often:
            measures[f"tag:{tag}"] = self._tagged(tag)
        when = self.days[["start", "end"]].assign(usable=self.usable)
        return self._table(self.outcomes.join(when), measures, self.usable, "")

    def _touched(self, own: pd.DataFrame) -> np.ndarray:
        """Return which tags (rows) touch which days (columns); the end of a tag is not in it."""
        start, end = (own[name].to_numpy("datetime64[ns]")[:, None] for name in ("start", "end"))
        begin, finish = (self.days[name].to_numpy("datetime64[ns]") for name in ("start", "end"))
        return (start < finish) & ((end > begin) | (start >= begin))

    @cached_property
    def often(self) -> list[str]:
        """The tags on three days or more, the twenty on most days; none of a medicine."""
        kinds = ("medicine", "pregnancy", "illness")
        hidden = [str(word) for kind in kinds for word in self.cautions[f"{kind}_words"]]
        counts = {
            tag: self._touched(own).any(axis=0).sum()
            for tag, own in self.tags.groupby("tag")
            if not matches(hidden, str(tag))
        }
        most = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
        return [str(tag) for tag, days in most if days >= 3][:20]

    def _tagged(self, tag: str) -> list[Measure]:
        """Return how often a tag is noted on each day."""
        own = self.tags[self.tags["tag"] == tag]
        times = self._touched(own).sum(axis=0)
        logged = self.days.index.isin(self.logged) | self._touched(self.tags).any(axis=0)
        later = (self.days["end"] > own["start"].min()).to_numpy()
        known = later & (logged | (times > 0))
        return [sure(float(n)) if told else UNKNOWN for n, told in zip(times, known, strict=True)]

    def _table(
        self, outcomes: pd.DataFrame, measures: pd.DataFrame, counts: pd.Series, unit: str
    ) -> Table:
        habits = {}
        for name in measures:
            rule = self.rules.get(f"{unit}{name}") or self.rules.get(name)
            if rule is None:
                rule = {"cut": "present"}
            habits[name] = habit(rule, measures[name].tolist(), counts)
        values = measures.map(lambda each: each.value)
        return Table(outcomes, values, pd.DataFrame(habits, index=measures.index))

    def meal_table(self) -> Table:
        """Return one row a meal."""
        meals = self.diary.meals
        outcomes = pd.DataFrame([self._after(at) for at in meals.index], meals.index)
        outcomes = outcomes.assign(carbs_g=meals["carbs"])
        measures = pd.DataFrame([self._of_meal(at) for at in meals.index], meals.index)
        for name, there in self.words.foods(meals).items():
            measures[f"food:{name}"] = [sure(each) for each in there]
        for tag in self.often:
            measures[f"tag:{tag}"] = self._near(tag)
        return self._table(outcomes, measures, meals["time"].notna(), "meal.")

    def _near(self, tag: str) -> list[Measure]:
        """Return how often a tag is noted from an hour before each meal to an hour after."""
        own = self.tags[self.tags["tag"] == tag]
        moments = self.diary.meals["time"].to_numpy("datetime64[ns]")
        start, end = (own[name].to_numpy("datetime64[ns]")[:, None] for name in ("start", "end"))
        near = ((end >= moments - HOUR) & (start <= moments + HOUR)).sum(axis=0)
        used = moments >= (own["start"].min() - HOUR).to_datetime64()
        return [sure(float(n)) if later else UNKNOWN for n, later in zip(near, used, strict=True)]

    def _of_meal(self, at: int) -> dict[str, Measure]:
        meals = self.diary.meals
        meal = meals.loc[at]
        row = {
            "high_carb": carbs_of(meal),
            "carb_only": sure(carb_only(meal)),
            "with_protein": protein_of(meal),
            "walk_after": UNKNOWN,
            "late_meal": UNKNOWN,
            "soon_after_food": UNKNOWN,
            "after_short_sleep": UNKNOWN,
            "after_stress": UNKNOWN,
        }
        date, start = meal["date"], meal["time"]
        if at:
            before = meals.loc[at - 1]
            same = before["date"] is date or before["date"] == date
            other = self.diary.other
            unsaid = other.loc[other["why"] == "unsaid", "time"]
            doubt = ((unsaid >= before["time"]) & (unsaid < start)).any()
            if not doubt and (same or (meals["date"] == date).sum() >= 2):
                row["soon_after_food"] = sure((start - before["time"]) / HOUR)
        if date is pd.NaT:
            return row
        day = self.days.loc[date]
        row["walk_after"] = self.tracker.walked(start, day)
        row["late_meal"] = sure((start - date) / HOUR)
        row["after_short_sleep"] = sure(self.sleep["short_sleep"][date])
        row["after_stress"] = self.tracker.stressed(max(start - 3 * HOUR, day["start"]), start, day)
        return row

    def _after(self, at: int) -> dict[str, float]:
        start = self.diary.meals["time"][at]
        end = start + TWO_HOURS
        row = dict.fromkeys(["baseline", "rise", "area_2h", "peak", "minutes_above"], np.nan)
        before = self.trace.between(start - 15 * MINUTE, start + 5 * MINUTE, with_end=True)
        if before["stands"].sum() >= 10:
            row["baseline"] = finite(np.median(ranked(before)))
        inside = self.trace.between(start, end)
        row["coverage"] = covered(inside, start, end, words=True)
        around = self.trace.between(start - 15 * MINUTE, end, with_end=True)
        if self._cut(start) or around["sensor"].nunique() > 1 or row["coverage"] < COVERAGE:
            return row
        after = self.trace.between(start, end, with_end=True)
        row["peak"] = finite(after["smooth"].max())
        row["rise"] = row["peak"] - row["baseline"]
        over = after["stands"][(after["value"] > self.above) | (after["words"] == "hi")].sum()
        row["minutes_above"] = over / after["stands"].sum() * 120
        row["area_2h"] = self._area(start, row["baseline"])
        return row

    def _cut(self, start: pd.Timestamp) -> bool:
        """Say whether something else begins within the two hours that may move the glucose."""
        other = self.diary.other
        moving = other[other["why"].isin(["low", "unsaid"]) | (other["carbs"] > 0)]
        food, rest = self.diary.meals["time"], moving["time"]
        cut = ((food > start) & (food < start + TWO_HOURS)).any()
        return bool(cut or ((rest > start + 15 * MINUTE) & (rest < start + TWO_HOURS)).any())

    def _area(self, start: pd.Timestamp, base: float) -> float:
        frame = self.trace.frame
        first = frame["time"].searchsorted(start, side="right") - 1
        last = frame["time"].searchsorted(start + TWO_HOURS, side="left")
        if first < 0 or last >= len(frame) or np.isnan(base):
            return np.nan
        used = frame.iloc[first : last + 1]
        if (used["time"].diff() > 20 * MINUTE).any() or (used["words"] != "").any():
            return np.nan
        minutes = ((used["time"] - start) / MINUTE).to_numpy()
        grid = np.unique(np.concatenate([[0.0, 120.0], minutes[(minutes > 0) & (minutes < 120)]]))
        line = np.interp(grid, minutes, used["value"].to_numpy() - base)
        return sum(map(_above_zero, grid[:-1], grid[1:], line[:-1], line[1:]))


def _above_zero(one: float, two: float, a: float, b: float) -> float:
    """Return the area of a straight line above 0."""
    high, low = max(a, b), min(a, b)
    if low >= 0:
        return (two - one) * (a + b) / 2
    return (two - one) * high * high / (high - low) / 2 if high > 0 else 0.0
