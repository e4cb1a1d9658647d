"""A level sampled through the day: its episodes, and when it was measured."""

from __future__ import annotations

import pandas as pd


def episodes(
    time: pd.Series, level: pd.Series, at_least: float, for_min: float, join_min: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the episodes of a sampled level, and the intervals in which it was measured.

    A sample stands until the next one, at most the usual gap; a negative one was not measured.
    """
    known = pd.DataFrame({"start": time, "level": level})
    known = known[(known["level"] >= 0) & known["start"].notna()]
    known = known.sort_values(["start", "level"], ascending=[True, False], kind="stable")
    known = known.drop_duplicates("start")
    gaps = known["start"].diff().shift(-1)
    step = gaps[gaps <= pd.Timedelta(days=1)].mode().iloc[0]
    known["end"] = known["start"] + gaps.clip(upper=step).fillna(step)
    worn = runs(known, step / 2)
    high = runs(known[known["level"] >= at_least], pd.Timedelta(minutes=join_min))
    long = high["end"] - high["start"] >= pd.Timedelta(minutes=for_min)
    return high[long].reset_index(drop=True), worn


def runs(frame: pd.DataFrame, gap: pd.Timedelta) -> pd.DataFrame:
    """Join intervals in time order that are no further apart than a gap."""
    number = (frame["start"] - frame["end"].cummax().shift() > gap).cumsum()
    return frame.groupby(number).agg(start=("start", "min"), end=("end", "max"))
