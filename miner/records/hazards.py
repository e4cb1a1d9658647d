"""What a sensor does that is not the client's glucose: told, and left out where that is sure.

A detector looks at the glucose stream with the settings and returns it with ``left_out`` filled
in; ``DETECTORS`` are run in this order.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from miner.records.client import Settings
from miner.records.copied_days import copied_days
from miner.records.findings import Findings
from miner.records.jumps import jumps
from miner.records.pressure import VERY_LOW_MG_DL
from miner.records.stuck import stuck_values
from miner.records.text_columns import blank
from miner.results import Severity

Detector = Callable[[pd.DataFrame, Settings, Findings], pd.DataFrame]

_FIRST_DAY = np.timedelta64(24, "h")
_AROUND_PRESSURE = pd.Timedelta(minutes=15)


def sensor_labels(frame: pd.DataFrame, settings: Settings, _: Findings) -> pd.DataFrame:
    """Number the sensors from the changes in ``client.toml`` where the file does not name them."""
    if not settings.sensor_changes or frame.empty:
        return frame
    labels = numbered(frame, settings)
    return frame.assign(sensor=frame["sensor"].where(frame["sensor"] != "", labels))


def numbered(frame: pd.DataFrame, settings: Settings) -> pd.Series[str]:
    """Return the number of the sensor of each reading, from 1, by the declared changes."""
    changes = np.array([item.to_datetime64() for item in settings.sensor_changes])
    number = np.searchsorted(changes, frame["clock"].to_numpy(), side="right")
    return pd.Series((number - number.min() + 1).astype(str), index=frame.index, dtype="str")


def first_day(frame: pd.DataFrame, settings: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out the first 24 hours of a sensor whose beginning is known.

    It is known where ``client.toml`` declares it, and where a new name comes into the sensor
    column; the first name in the records may have begun before them.
    """
    young = np.zeros(len(frame), dtype=bool)
    clock = frame["clock"].to_numpy()
    declared = [change.to_datetime64() for change in settings.sensor_changes]
    for begun in declared:
        young |= (clock >= begun) & (clock < begun + _FIRST_DAY)
    if not declared and frame["sensor"].nunique() < 2:
        return frame
    named = frame.loc[frame["sensor"] != "", ["sensor", "clock"]]
    begins = named.groupby("sensor")["clock"].min().sort_values(kind="stable").iloc[1:]
    for sensor, first in begins.items():
        begun = np.datetime64(first)
        if not any(begun - _FIRST_DAY < known <= begun for known in declared):
            young |= (frame["sensor"] == sensor).to_numpy() & (clock < begun + _FIRST_DAY)
    if young.any():
        young &= blank(frame["left_out"])
    findings.rows(
        Severity.LEFT_OUT,
        "{n} reading(s) of the first day of a sensor",
        "readings from the second day on",
        "Nothing to do: a sensor reads less truly in its first 24 hours.",
        at=frame[young],
    )
    return _left_out(frame, young, "first day of a sensor")


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
        "{n} reading(s) in a confirmed pressure low and 15 minutes around it",
        "readings without pressure on the sensor",
        "Nothing to do: it was confirmed in client.toml.",
        at=frame[pressed],
    )
    low = pressed & (frame["glucose"] < VERY_LOW_MG_DL).to_numpy()
    findings.rows(
        Severity.QUESTION,
        f"{{n}} reading(s) under {VERY_LOW_MG_DL:g} mg/dL in a confirmed pressure low",
        f"no reading under {VERY_LOW_MG_DL:g} that nobody has looked at",
        "Ask whether the client felt unwell then; if so take the pressure low out again.",
        at=frame[low],
        shown=frame.loc[low, "glucose"].round(0),
    )
    return _left_out(frame, pressed, "pressure low, confirmed")


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
