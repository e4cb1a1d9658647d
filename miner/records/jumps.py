"""Jumps that are not the client's: rates no body shows, steps across a gap, a change of cadence."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.records.client import Settings
from miner.records.findings import Findings
from miner.records.samples import modal_gap
from miner.results import Severity

FASTEST_MG_DL_PER_MIN = 5.0
LONGEST_RATE_MIN = 20.0
STEP_GAP_H = 2.0
STEP_AROUND_H = 48.0
STEP_MG_DL = 25.0
FEWEST_AROUND = 24
_FEWEST_DAYS = 3
_MINUTE = np.timedelta64(60_000_000_000, "ns")


def impossible_rates(frame: pd.DataFrame, _: Settings, findings: Findings) -> pd.DataFrame:
    """Tell of readings that differ from the one before by more than 5 mg/dL a minute.

    Readings closer than half the usual time apart (one stored, one on demand) are not compared.
    All are used as they stand.
    """
    used = _used(frame)
    minutes = np.diff(used["time"].to_numpy()) / _MINUTE
    change = np.diff(used["glucose"].to_numpy())
    same = used["sensor"].to_numpy()[1:] == used["sensor"].to_numpy()[:-1]
    usual = modal_gap(used["time"].to_numpy())
    shortest = 0.0 if usual is None else float(usual / _MINUTE) / 2
    near = same & (minutes > 0) & (minutes >= shortest) & (minutes <= LONGEST_RATE_MIN)
    fast = near & (np.abs(change) > FASTEST_MG_DL_PER_MIN * minutes)
    findings.rows(
        Severity.QUESTION,
        "{n} reading(s) that changed faster than a body can",
        f"at most {FASTEST_MG_DL_PER_MIN:g} mg/dL a minute",
        "See whether the sensor was pressed, knocked or changed; they are used as they stand.",
        at=used[1:][fast],
        shown=[
            f"{a:+.0f} mg/dL in {b:.0f} min"
            for a, b in zip(change[fast], minutes[fast], strict=True)
        ],
    )
    return frame


def sensor_steps(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Ask about a gap of over two hours with another level after it: was it a new sensor?

    The medians of the readings within 48 hours before and after it are compared. A change that is
    declared, or that the sensor column shows, is not asked about.
    """
    used = _used(frame)
    time, clock = used["time"].to_numpy(), used["clock"].to_numpy()
    sensor, value = used["sensor"].to_numpy(), used["glucose"].to_numpy()
    changes = np.array([each.to_datetime64() for each in settings.sensor_changes], clock.dtype)
    gaps = np.flatnonzero(np.diff(time) > np.timedelta64(int(STEP_GAP_H * 60), "m"))
    found, shown = np.zeros(len(used), dtype=bool), []
    for at in gaps:
        declared = ((changes >= clock[at]) & (changes <= clock[at + 1])).any()
        if declared or sensor[at] != sensor[at + 1]:
            continue
        step = _step(time, value, int(at))
        if abs(step) >= STEP_MG_DL:
            hours = (time[at + 1] - time[at]) / _MINUTE / 60
            found[at + 1] = True
            shown.append(f"{hours:.1f} hours, then {step:+.0f} mg/dL")
    findings.rows(
        Severity.QUESTION,
        "{n} gap(s) with another level of glucose after it",
        "sensor_changes in client.toml, where a new sensor was put on",
        "Ask whether the sensor was changed there, and if so add the time to sensor_changes.",
        at=used[found],
        shown=shown,
    )
    return frame


def _step(time: NDArray[np.datetime64], value: NDArray[np.float64], at: int) -> float:
    around = np.timedelta64(int(STEP_AROUND_H * 60), "m")
    low, high = np.searchsorted(time, [time[at] - around, time[at + 1] + around])
    before, after = value[low : at + 1], value[at + 1 : high]
    if min(len(before), len(after)) < FEWEST_AROUND:
        return 0.0
    return float(np.median(after) - np.median(before))


def cadences(frame: pd.DataFrame, _: Settings, findings: Findings) -> pd.DataFrame:
    """Tell where the time between readings is not the same on all days."""
    used = _used(frame)
    every: dict[int, int] = {}
    for _day, times in used.groupby(used["clock"].dt.normalize(), sort=False)["time"]:
        gap = modal_gap(times.to_numpy()) if len(times) >= FEWEST_AROUND else None
        if gap is not None:
            minutes = max(1, round(float(gap / _MINUTE)))
            every[minutes] = every.get(minutes, 0) + 1
    usual = {minutes: days for minutes, days in every.items() if days >= _FEWEST_DAYS}
    if len(usual) > 1:
        told = ", ".join(
            f"every {minutes} min on {usual[minutes]} days" for minutes in sorted(usual)
        )
        findings.add(
            Severity.NOTE,
            f"the readings are not always equally far apart: {told}",
            "one cadence",
            "Nothing: lengths are measured by time, not by counting readings.",
        )
    return frame


def _used(frame: pd.DataFrame) -> pd.DataFrame:
    return frame[(frame["left_out"] == "") & frame["glucose"].notna()]
