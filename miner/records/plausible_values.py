"""Values held against each other within a row, and a column against itself.

What cannot be is left out and reported; what is odd is asked about and used as it stands.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from miner.core.results import Severity
from miner.records.columns import STILL
from miner.records.findings import Findings
from miner.records.text_columns import blank

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
Mask = np.ndarray


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
        _ask_running_total(frame[used], findings)
        frame["steps"] = np.nan
    else:
        fast = used & (steps > MOST_STEPS_A_MINUTE * np.maximum(minutes, 1))
        _unknown(
            frame,
            fast,
            ["steps"],
            findings,
            code="steps_too_many",
            stream="activity",
        )
    counted = frame["kind"].isin([STILL, "steps"]).to_numpy() | ~np.isnan(steps)
    active = frame["active_min"].to_numpy(np.float64)
    moving = np.where(np.isnan(active), minutes, active)
    long = used & (moving > LONGEST_MOVEMENT_MIN) & ~counted
    findings.rows(
        Severity.QUESTION,
        "movement_too_long",
        at=frame[long],
        shown=[f"{value / 60:.1f} hours" for value in moving[long]],
        stream="activity",
    )
    frame.loc[long, "left_out"] = TOO_LONG_MOVING
    return frame


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


def _ask_running_total(rows: pd.DataFrame, findings: Findings) -> None:
    findings.add(
        Severity.QUESTION,
        "steps_running_total",
        file=str(rows["file"].iloc[0]),
        row=int(rows["row"].iloc[0]),
        count=len(rows),
        stream="activity",
        column="steps",
        days=tuple(sorted(set(rows["start_clock"].dt.strftime("%Y-%m-%d")))),
    )


def plausible_meals(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """Return the meals without amounts that contradict the energy beside them.

    Carbohydrate, protein and fat give 4, 4 and 9 kcal a gram; together they may not give 30 %
    and 60 kcal more than the energy noted. Energy that is four times what they give in nearly all
    meals reads like kilojoules; still more, in meals that tell some of each of the three, reads
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
        _ask_kilojoules(frame[used], findings)
        frame["energy_kcal"] = np.nan
    else:
        # zeros may stand for grams that nobody noted, and then the rest is right as it is
        whole = np.all(np.array(parts)[:, all_known] > 0, axis=0)
        if whole.sum() >= FEWEST and (times := float(np.median(ratio[whole]))) > KILOJOULES[1]:
            _ask_grams(frame[used], times, findings)
            frame[list(KCAL_A_GRAM)] = np.nan
    over = used & (given > (1 + KCAL_SHARE) * energy + KCAL_SLACK)
    names = [*KCAL_A_GRAM, "energy_kcal"]
    _unknown(
        frame,
        over & frame["energy_kcal"].notna().to_numpy(),
        names,
        findings,
        code="energy_too_small",
        stream="meals",
    )
    much = used & (frame["carbs_g"].to_numpy(np.float64) > MOST_CARBS_G)
    findings.rows(
        Severity.QUESTION,
        "carbs_too_many",
        at=frame[much],
        shown=[f"{value:g} g" for value in frame.loc[much, "carbs_g"]],
        stream="meals",
        column="carbs_g",
    )
    return frame


def _ask_grams(rows: pd.DataFrame, times: float, findings: Findings) -> None:
    findings.add(
        Severity.QUESTION,
        "grams_unit",
        file=str(rows["file"].iloc[0]),
        row=int(rows["row"].iloc[0]),
        count=len(rows),
        stream="meals",
        column="carbs_g",
        values={"times": times},
    )


def _ask_kilojoules(rows: pd.DataFrame, findings: Findings) -> None:
    findings.add(
        Severity.QUESTION,
        "energy_unit",
        file=str(rows["file"].iloc[0]),
        row=int(rows["row"].iloc[0]),
        count=len(rows),
        stream="meals",
        column="energy_kcal",
    )


def never_varies(name: str, frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """Ask about a column with one and the same value in every row; zeros are taken as not measured.

    Args:
        name: the stream.
        frame: its rows, with ``left_out`` filled in.
        findings: gets one question a column.
    """
    columns = NEVER_VARIES.get(name, ())
    if not columns:
        return frame
    used = blank(frame["left_out"])
    for column in columns:
        known = frame.loc[used, column].dropna()
        if len(known) < FEWEST or known.nunique() > 1:
            continue
        value = float(known.iloc[0])
        rows = frame.loc[known.index]
        findings.add(
            Severity.QUESTION,
            "never_varies",
            file=str(rows["file"].iloc[0]),
            row=int(rows["row"].iloc[0]),
            count=len(known),
            told_as="always_zero" if value == 0 else "",
            stream=name,
            column=column,
            values={"value": value},
        )
        if value == 0:
            frame = frame.assign(**{column: np.nan})
    return frame


def _unknown(
    frame: pd.DataFrame,
    mask: Mask,
    names: list[str],
    findings: Findings,
    *,
    code: str,
    stream: str,
) -> None:
    """Make values unknown and report them."""
    if not mask.any():
        return
    rows = frame[mask]
    findings.rows(
        Severity.LEFT_OUT,
        code,
        at=rows,
        shown=[f"{value:g}" for value in rows[names[0]]],
        stream=stream,
        column=names[0],
    )
    frame.loc[mask, names] = np.nan
