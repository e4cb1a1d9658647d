"""What was eaten on which day, by the words of docs/definitions.md."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from labels import NAMES, Words, folded
from measure import UNKNOWN, Measure, at_least, sure
from raw import Raw
from readings import HOUR, MINUTE

AMOUNTS = ("carbs", "protein", "energy")
THREE = ("breakfast", "lunch", "dinner")


def occasions(rows: pd.DataFrame) -> pd.DataFrame:
    """Join rows at most 15 minutes after the first of them."""
    number, first = [], pd.Timestamp("1900-01-01")
    for time in rows["time"]:
        if time - first > 15 * MINUTE:
            first = time
        number.append(first)
    found = []
    for time, group in rows.groupby(np.array(number, dtype="datetime64[ns]")):
        typed = group.loc[group["meal"].isin(THREE), "meal"].tolist()
        typed += group.loc[group["meal"] == "snack", "meal"].tolist()
        found.append(
            {
                "time": time,
                "labels": group["label"].tolist(),
                "type": typed[0] if typed else "",
                **{name: group[name].sum(skipna=False) for name in AMOUNTS},
                "told_carbs": group["carbs"].sum(),
                **{f"{name}_level": level(group[f"{name}_level"]) for name in ("carbs", "protein")},
            }
        )
    told = [*AMOUNTS, "told_carbs", "carbs_level", "protein_level"]
    return pd.DataFrame(found, columns=["time", "labels", "type", *told])


def level(words: pd.Series) -> str:
    """Return the highest level of some rows; unknown where one has none."""
    levels = ["low", "moderate", "high"]
    known = [levels.index(word) for word in words if word in levels]
    return levels[max(known)] if len(known) == len(words) else ""


def carbs_of(meal: pd.Series) -> Measure:
    """Return the carbohydrate of a meal; in place of grams its level says yes or no."""
    if not np.isnan(meal["carbs"]):
        return sure(meal["carbs"])
    said = meal["carbs_level"]
    return Measure(np.nan, meal["told_carbs"], float(said == "high") if said else np.nan)


def protein_of(meal: pd.Series) -> Measure:
    """Return the protein of a meal; in place of grams its level says yes or no."""
    said = meal["protein_level"]
    return Measure(meal["protein"], np.nan, float(said != "low") if said else np.nan)


def called(labels: list[str], hour: float, after_waking: float) -> str:
    """Return what a word of the labels calls a meal, where the hour fits."""
    fits = {
        "breakfast": hour < 16 or 0 <= after_waking < 3,
        "lunch": 10 <= hour < 17,
        "dinner": hour >= 15,
    }
    said = [name for label in labels for word, name in NAMES.items() if stands(word, label)]
    fitting = [name for name in said if fits.get(name)]
    return fitting[0] if fitting else "snack" if "snack" in said else ""


def stands(word: str, label: str) -> bool:
    """Say whether a word stands in a label."""
    return bool(re.search(rf"\b{word}\b", folded(label)))


def largest(some: pd.DataFrame, *, later: bool = False) -> int | None:
    """Return the occasion with most energy, else carbohydrate, where all tell it."""
    for name in ("energy", "carbs"):
        if len(some) and some[name].notna().all():
            best = some[some[name] == some[name].max()]
            return int(best.index[-1 if later else 0])
    return None


def named(eaten: pd.DataFrame, date: pd.Timestamp, start: pd.Timestamp) -> dict[str, int]:
    """Return the breakfast, lunch and dinner of one day by their place in the table."""
    found: dict[str, int] = {}
    for name in THREE:
        for column in ("type", "called"):
            some = eaten[(eaten[column] == name) & (eaten["type"].isin(["", name]))]
            if len(some):
                best = largest(some)
                found[name] = int(some.index[0]) if best is None else best
                break
    rest = eaten[(eaten["type"] == "") & (eaten["called"] == "")]
    hour = (rest["time"] - date) / HOUR
    if "dinner" not in found:
        late = rest[hour >= 16]
        best = largest(late, later=True)
        if best is None and len(rest[(hour >= 17) & (hour < 24)]):
            best = int(rest[(hour >= 17) & (hour < 24)].index[-1])
        if best is not None:
            found["dinner"] = best
    if "breakfast" not in found:
        early = rest[(rest["time"] - start <= 3 * HOUR) & (hour < 16)]
        early = early.drop(index=[at for at in found.values() if at in early.index])
        if len(early):
            found["breakfast"] = int(early.index[0])
    if "lunch" not in found:
        noon = rest[(hour >= 11) & (hour < 16)]
        noon = noon.drop(index=[at for at in found.values() if at in noon.index])
        best = largest(noon)
        if len(noon):
            found["lunch"] = int(noon.index[0]) if best is None else best
    return found


def carb_only(meal: pd.Series) -> float:
    """Return whether a meal is carbohydrate by itself: 15 g or more with under 5 g of protein."""
    much, little = meal["carbs"] >= 15, meal["protein"] < 5
    known = [not np.isnan(meal["carbs"]), not np.isnan(meal["protein"])]
    if not known[0] and meal["carbs_level"]:
        much, known[0] = meal["carbs_level"] != "low", True
    if not known[1] and meal["protein_level"]:
        little, known[1] = meal["protein_level"] == "low", True
    if (known[0] and not much) or (known[1] and not little):
        return 0.0
    return 1.0 if all(known) else np.nan


class Diary:
    """The occasions of a client, each with its day and its name."""

    def __init__(self, raw: Raw, days: pd.DataFrame, words: Words) -> None:
        rows = raw.meals.dropna(subset=["time"]).sort_values("time", kind="stable")
        told = (rows[["energy", "carbs", "protein", "fat"]] > 0).any(axis=1)
        each = zip(rows["label"], rows["meal"], told, strict=True)
        why = pd.Series([words.no_food(*row) for row in each], rows.index, dtype="str")
        self.other = rows[why != ""].assign(why=why)
        self.log = rows
        self.meals = occasions(rows[why == ""].reset_index(drop=True))
        self.days = days
        self.meals["date"] = [self.day_of(time) for time in self.meals["time"]]
        self.meals["called"] = [self._called(meal) for _, meal in self.meals.iterrows()]
        self.names: dict[pd.Timestamp, dict[str, int]] = {}
        self.meals["name"] = "snack"
        for date, eaten in self.meals.groupby("date"):
            self.names[date] = named(eaten, date, days["start"][date])
            for name, at in self.names[date].items():
                self.meals.loc[at, "name"] = name

    def day_of(self, moment: pd.Timestamp) -> pd.Timestamp:
        """Return the date of the day to which what is eaten at a moment belongs; NaT for none."""
        days, coming = self.days, self.days["start"].searchsorted(moment, side="right")
        if coming < len(days):
            date, day = days.index[coming], days.iloc[coming]
            bed = day["start"] - 3 * HOUR if day["bed"] is pd.NaT else day["bed"]
            if moment >= max(date + 4 * HOUR, bed):
                return date
        inside = coming > 0 and moment < days["end"].iloc[coming - 1]
        return days.index[coming - 1] if inside else pd.NaT

    def _called(self, meal: pd.Series) -> str:
        if meal["type"] or meal["date"] is pd.NaT:
            return ""
        hour = (meal["time"] - meal["date"]) / HOUR
        after = (meal["time"] - self.days["start"][meal["date"]]) / HOUR
        return called(meal["labels"], hour, after)

    def of_day(self, day: pd.Series) -> dict[str, Measure]:
        """Return the measures of what was eaten on one day."""
        eaten = self.meals[self.meals["date"] == day.name]
        names = self.names.get(day.name, {})
        dinner = self.meals.loc[names["dinner"]] if "dinner" in names else None
        found = dict.fromkeys(
            [
                "high_carb_day",
                "high_carb_dinner",
                "carb_only_snack",
                "evening_snack",
                "late_dinner",
                "no_breakfast",
                "long_eating_window",
            ],
            UNKNOWN,
        )
        if dinner is not None:
            found["high_carb_dinner"] = carbs_of(dinner)
            found["late_dinner"] = sure((dinner["time"] - day.name) / HOUR)
        if len(eaten) < 2:
            return found
        unsaid = self.unsaid_on(day.name)
        carbs = eaten["carbs"].sum(skipna=False)
        told = eaten["told_carbs"].sum()
        partly = len(unsaid) > 0 or np.isnan(carbs)
        found["high_carb_day"] = at_least(told) if partly else sure(carbs)
        only = [carb_only(each) for _, each in eaten.iterrows() if each["name"] == "snack"]
        partly = len(unsaid) > 0 or bool(np.isnan(only).any())
        found["carb_only_snack"] = at_least(np.nansum(only)) if partly else sure(float(sum(only)))
        if dinner is not None:
            after = eaten[eaten["time"] > dinner["time"]]
            snack = (after["type"] == "snack") | (after["called"] == "snack")
            later = after["time"] >= dinner["time"] + HOUR
            count = float((snack | later).sum())
            partly = (unsaid > dinner["time"]).any()
            found["evening_snack"] = at_least(count) if partly else sure(count)
        first, last = eaten["time"].iloc[0], eaten["time"].iloc[-1]
        hours = (last - first) / HOUR
        outside = ((unsaid < first) | (unsaid > last)).any()
        found["long_eating_window"] = at_least(hours) if outside else sure(hours)
        if day["up"] is not pd.NaT and not (unsaid < first).any():
            hours = (first - day["up"]) / HOUR
            if hours < 3 or len(eaten) >= 3:
                found["no_breakfast"] = sure(hours)
        return found

    def unsaid_on(self, date: pd.Timestamp) -> pd.Series:
        """Return the times of what is noted as not reported on a day."""
        times = self.other.loc[self.other["why"] == "unsaid", "time"]
        return times[[self.day_of(time) == date for time in times]]
