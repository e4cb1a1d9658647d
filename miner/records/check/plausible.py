"""Dates and values that cannot belong to these records, and what would explain them.

Dates before 2000 or far from nearly all the others; amounts, steps and movements that no body does.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity
from miner.records.columns import STILL
from miner.records.text_columns import Mask, blank, clock_of, dates_of, marked

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.place.times import Stamps

Span: TypeAlias = tuple[np.datetime64, np.datetime64]
_FIRST = np.datetime64("2000-01-01")
_APART, _FAR = np.timedelta64(400, "D"), np.timedelta64(180, "D")
_FEW_READINGS, _FEW_RECORDS = 0.01, 1 / 3


def without_impossible_dates(
    frames: Mapping[str, pd.DataFrame], findings: Findings
) -> dict[str, pd.DataFrame]:
    """Take out rows that by their date cannot belong to the readings.

    Those more than 400 days from the middle eight tenths of the readings; and a few (of a stream a
    third, of readings one in a hundred) more than 180 days from all but the first and the last
    fiftieth of these, as a year typed wrongly does. More rows of another year are asked about
    elsewhere (``cross_checks``).

    Args:
        frames: the streams by name, with ``clock`` or ``start_clock``.
        findings: gets what was taken out.
    """
    times = frames["glucose"]["clock"].to_numpy()
    days = times[times >= _FIRST].astype("datetime64[D]").astype(np.int64)
    usual, nearly_all = _middle(days, 0.1), _middle(days, 0.02)
    wide = (usual[0] - _APART, usual[1] + _APART)
    near = (nearly_all[0] - _FAR, nearly_all[1] + _FAR)
    found = {}
    for name, frame in frames.items():
        times = clock_of(frame).to_numpy()
        if not times.size or (_all_within(times, near) and _all_within(times, wide)):
            found[name] = frame
            continue
        odd, far = (times < _FIRST) | _outside(times, wide), _outside(times, near)
        few = _FEW_READINGS if name == "glucose" else _FEW_RECORDS
        if far.mean() <= few:
            odd |= far
        findings.rows(
            Severity.LEFT_OUT,
            "date_that_cannot_be",
            at=frame[odd],
            shown=np.datetime_as_string(times[odd], unit="m"),
            values={"first": usual[0], "last": usual[1]},
        )
        found[name] = frame[~odd].reset_index(drop=True) if odd.any() else frame
    return found


def _all_within(times: Stamps, span: Span) -> bool:
    return bool(times.min() >= max(span[0], _FIRST) and times.max() <= span[1])


def _outside(times: Stamps, span: Span) -> NDArray[np.bool_]:
    return (times < span[0]) | (times > span[1])


def _middle(days: NDArray[np.int64], aside: float) -> Span:
    """Return from which day to the end of which day all but a share at either end is."""
    if not days.size:
        return _FIRST + _APART, np.datetime64("2261-01-01")
    low, high = np.quantile(days, [aside, 1 - aside]).astype(np.int64).tolist()
    return np.datetime64(low, "D"), np.datetime64(high + 1, "D")


MOST_STEPS_A_MINUTE = 300.0
LONGEST_MOVEMENT_MIN = 8 * 60.0
TOO_LONG_MOVING = "over_8_hours_moving"
FEWEST_BLOCKS, LONGEST_BLOCK_MIN = 50, 60.0
RISING, GROWING, LEAST_TOTAL = 0.98, 0.3, 1000.0
KCAL_A_GRAM = {"carbs_g": 4.0, "protein_g": 4.0, "fat_g": 9.0}
"""Atwater general factors. Source: FAO 2003, Food and Nutrition Paper 77, table 3.1."""

KCAL_SLACK, KCAL_SHARE = 60.0, 0.3
KILOJOULES = (3.4, 5.2)
"""Above it the grams are in another unit: ounces give 28 times. Alcohol stays below."""

MOST_CARBS_G = 400.0
FEWEST = 10
NEVER_VARIES = {
    "sleep": ("asleep_min", "deep_min", "rem_min", "light_min", "awake_min"),
    "activity": ("steps",),
    "meals": ("carbs_g", "protein_g", "fat_g", "energy_kcal"),
}


def plausible_activity(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """Return the activity without steps that nobody takes, and without movements of a whole day.

    More than 300 steps a minute, steps that only grow through each day (a running total), and a
    movement of more than 8 hours. Common practice, no source.
    """
    used = blank(frame["left_out"])
    if not used.any():
        return frame
    frame = frame.copy()
    start, end = (frame[name].to_numpy() for name in ("start", "end"))
    minutes = (end - start) / np.timedelta64(1, "m")
    steps = frame["steps"].to_numpy(np.float64)
    if _running_total(frame[used], minutes[used]):
        rows = frame[used]
        about = {"stream": "activity", "column": "steps", "days": dates_of(rows)}
        findings.whole(Severity.QUESTION, "steps_running_total", rows, **about)
        frame["steps"] = np.nan
    else:
        fast = used & (steps > MOST_STEPS_A_MINUTE * np.maximum(minutes, 1))
        _unknown(frame, fast, ["steps"], findings, code="steps_too_many", stream="activity")
    counted = frame["kind"].isin([STILL, "steps"]).to_numpy() | ~np.isnan(steps)
    active = frame["active_min"].to_numpy(np.float64)
    moving = np.where(np.isnan(active), minutes, active)
    long = used & (moving > LONGEST_MOVEMENT_MIN) & ~counted
    shown = [f"{value / 60:.1f} hours" for value in moving[long]]
    at, code = frame[long], "movement_too_long"
    findings.rows(Severity.QUESTION, code, at=at, shown=shown, stream="activity")
    return marked(frame, long, TOO_LONG_MOVING)


def _running_total(rows: pd.DataFrame, minutes: np.ndarray) -> bool:
    """Say whether the steps of blocks only grow through each day, as a counter does."""
    blocks = rows[(minutes <= LONGEST_BLOCK_MIN) & rows["steps"].notna().to_numpy()]
    if len(blocks) < FEWEST_BLOCKS:
        return False
    day = blocks["start_clock"].dt.normalize()
    grown = blocks["steps"].groupby(day).diff().dropna()
    last = blocks["steps"].groupby(day).last()
    rising = (grown >= 0).mean() >= RISING and (grown > 0).mean() >= GROWING
    return bool(rising and last.median() >= LEAST_TOTAL)


def plausible_meals(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """Return the meals without amounts that contradict the energy next to them.

    Carbohydrate, protein and fat give 4, 4 and 9 kcal a gram; together they may not give 30 %
    and 60 kcal more than the energy noted. Energy that is four times what they give in nearly all
    meals looks like kilojoules. Still more, in meals that have some of each of the three, looks
    like another unit of the grams. More than 400 g of carbohydrate in one meal is asked about.
    """
    used = blank(frame["left_out"])
    if not used.any():
        return frame
    frame = frame.copy()
    parts = [frame[name].to_numpy(np.float64) * kcal for name, kcal in KCAL_A_GRAM.items()]
    given = np.nansum(parts, axis=0)
    energy = frame["energy_kcal"].to_numpy(np.float64)
    all_known = used & ~np.isnan(np.sum(parts, axis=0)) & (energy > 0) & (given > 0)
    ratio = energy[all_known] / given[all_known]
    if ratio.size >= FEWEST and KILOJOULES[0] <= float(np.median(ratio)) <= KILOJOULES[1]:
        about: dict[str, Any] = {"stream": "meals", "column": "energy_kcal"}
        findings.whole(Severity.QUESTION, "energy_unit", frame[used], **about)
        frame["energy_kcal"] = np.nan
    else:
        # zeros may stand for grams that nobody noted, and then the rest is right as it is
        whole = np.all(np.array(parts)[:, all_known] > 0, axis=0)
        if whole.sum() >= FEWEST and (times := float(np.median(ratio[whole]))) > KILOJOULES[1]:
            about = {"stream": "meals", "column": "carbs_g", "values": {"times": times}}
            findings.whole(Severity.QUESTION, "grams_unit", frame[used], **about)
            frame[list(KCAL_A_GRAM)] = np.nan
    over = used & (given > (1 + KCAL_SHARE) * energy + KCAL_SLACK)
    over &= frame["energy_kcal"].notna().to_numpy()
    names = [*KCAL_A_GRAM, "energy_kcal"]
    _unknown(frame, over, names, findings, code="energy_too_small", stream="meals")
    much = used & (frame["carbs_g"].to_numpy(np.float64) > MOST_CARBS_G)
    shown = [f"{value:g} g" for value in frame.loc[much, "carbs_g"]]
    about = {"stream": "meals", "column": "carbs_g"}
    findings.rows(Severity.QUESTION, "carbs_too_many", at=frame[much], shown=shown, **about)
    return frame


def never_varies(name: str, frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """Ask about a column with one and the same value in every row; zeros are taken as not measured.

    Args:
        name: the stream.
        frame: its rows, with ``left_out`` filled in.
        findings: gets one question a column.
    """
    used = blank(frame["left_out"])
    for column in NEVER_VARIES.get(name, ()):
        known = frame.loc[used, column].dropna()
        if len(known) < FEWEST or known.nunique() > 1:
            continue
        value = float(known.iloc[0])
        findings.whole(
            Severity.QUESTION,
            "never_varies",
            frame.loc[known.index],
            told_as="always_zero" if value == 0 else "",
            stream=name,
            column=column,
            values={"value": value},
        )
        if value == 0:
            frame = frame.assign(**{column: np.nan})
    return frame


def _unknown(
    frame: pd.DataFrame, mask: Mask, names: list[str], findings: Findings, *, code: str, stream: str
) -> None:
    """Make values unknown and report them."""
    if not mask.any():
        return
    shown = [f"{value:g}" for value in frame.loc[mask, names[0]]]
    about = {"stream": stream, "column": names[0]}
    findings.rows(Severity.LEFT_OUT, code, at=frame[mask], shown=shown, **about)
    frame.loc[mask, names] = np.nan
