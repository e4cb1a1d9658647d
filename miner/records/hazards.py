"""What a sensor does that is not the client's glucose: told, and left out where that is sure.

A detector looks at the glucose stream with the settings and returns it with ``left_out`` filled
in; ``DETECTORS`` are run in this order.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from miner.core.results import Severity
from miner.records.client import Settings
from miner.records.copied_days import copied_days
from miner.records.findings import Findings
from miner.records.jumps import jumps
from miner.records.pressure import VERY_LOW_MG_DL
from miner.records.stuck import stuck_values
from miner.records.text_columns import blank, changes

Detector = Callable[[pd.DataFrame, Settings, Findings], pd.DataFrame]

_FIRST_DAY = np.timedelta64(24, "h")
_AROUND_PRESSURE = pd.Timedelta(minutes=15)


def sensor_labels(frame: pd.DataFrame, settings: Settings, _: Findings) -> pd.DataFrame:
    """Number the sensors from the changes in ``client.toml`` where the file does not name them."""
    if not settings.sensor_changes or frame.empty:
        return frame
    labels, nameless = numbered(frame, settings), blank(frame["sensor"])
    return frame.assign(sensor=labels if nameless.all() else frame["sensor"].mask(nameless, labels))


def numbered(frame: pd.DataFrame, settings: Settings) -> pd.Series[str]:
    """Return the number of the sensor of each reading, from 1, by the declared changes."""
    declared = np.array([item.to_datetime64() for item in settings.sensor_changes])
    number = np.searchsorted(declared, frame["clock"].to_numpy(), side="right")
    number -= number.min(initial=len(declared))
    names = pd.array([str(each + 1) for each in range(len(declared) + 1)], dtype="str")
    return pd.Series(names.take(number), index=frame.index)


def first_day(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out the first 24 hours of a sensor whose beginning is known.

    It is known where ``client.toml`` declares it, and where a new name comes into the sensor
    column; the first name in the records may have begun before them.
    """
    declared = [change.to_datetime64() for change in settings.sensor_changes]
    if not declared and not changes(frame["sensor"]).size:
        return frame
    young = np.zeros(len(frame), dtype=bool)
    clock = frame["clock"].to_numpy()
    for begun in declared:
        young |= (clock >= begun) & (clock < begun + _FIRST_DAY)
    sensor, names = pd.factorize(frame["sensor"])
    first = pd.Series(clock).groupby(sensor).min().set_axis(names).drop("", errors="ignore")
    until = np.full(len(names), np.datetime64("NaT", "ns"))
    for name, time in first.sort_index().sort_values(kind="stable").iloc[1:].items():
        begun = np.datetime64(time)
        if not any(begun - _FIRST_DAY < known <= begun for known in declared):
            until[names.get_loc(name)] = begun + _FIRST_DAY
    young |= clock < until[sensor]
    if young.any():
        young &= blank(frame["left_out"])
    findings.rows(
        Severity.LEFT_OUT,
        "sensor_first_day",
        at=frame[young],
    )
    return _left_out(frame, young, "first_sensor_day")


def confirmed_pressure(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out the confirmed pressure lows of ``client.toml``, with 15 minutes around them."""
    if not settings.pressure_lows:
        return frame
    pressed = np.zeros(len(frame), dtype=bool)
    for start, end in settings.pressure_lows:
        inside = frame["clock"].between(start - _AROUND_PRESSURE, end + _AROUND_PRESSURE)
        pressed |= inside.to_numpy()
    pressed &= blank(frame["left_out"])
    findings.rows(
        Severity.LEFT_OUT,
        "pressure_low_confirmed",
        at=frame[pressed],
    )
    low = pressed & (frame["glucose"] < VERY_LOW_MG_DL).to_numpy()
    findings.rows(
        Severity.QUESTION,
        "pressure_low_very_low",
        at=frame[low],
        shown=frame.loc[low, "glucose"].round(0),
        values={"under": VERY_LOW_MG_DL},
    )
    return _left_out(frame, pressed, "pressure_low")


DETECTORS: tuple[Detector, ...] = (
    first_day,
    sensor_labels,
    confirmed_pressure,
    stuck_values,
    jumps,
    copied_days,
)


def look(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Run every detector over the glucose stream."""
    for detector in DETECTORS:
        frame = detector(frame, settings, findings)
    return frame


def _left_out(frame: pd.DataFrame, mask: np.ndarray, reason: str) -> pd.DataFrame:
    if mask.any():
        frame = frame.assign(left_out=frame["left_out"].mask(mask, reason))
    return frame
