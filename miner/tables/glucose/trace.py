"""The glucose readings as arrays, each with the time it stands for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.records.client import Client
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.tables.columns import DAY, Floats, Source, Times, Zones, seconds

USUAL_CADENCE_MIN = 5
LONGEST_CADENCE_MIN = 60
FEWEST_GAPS_FOR_A_CADENCE = 12


@dataclass(frozen=True, slots=True)
class Trace:
    """Readings in time order.

    Attributes:
        at, clock: instants and wall-clock times in seconds.
        value: mg/dL, NaN where the sensor showed only LO or HI.
        ordered: the same with LO as minus and HI as plus infinity, for medians and limits.
        minutes: the time each reading stands for: up to the next one, at most one cadence. So a
            stored reading beside one on demand is not counted twice, and a gap is never filled.
        cadence: minutes between stored readings: the commonest gap of that day of that sensor, or
            of the sensor where that is longer, so that many readings on demand do not shorten it.
        sensor: place in ``sensors``.
        tenths: whether its file is in mmol/L, in which limits are read to a tenth.
        zones: what the wall clock added to the instant.
    """

    at: Times
    clock: Times
    value: Floats
    ordered: Floats
    minutes: Floats
    cadence: Floats
    sensor: NDArray[np.int64]
    sensors: tuple[str, ...]
    file: NDArray[np.object_]
    row: NDArray[np.int64]
    tenths: NDArray[np.bool_]
    zones: Zones

    def origin(self, place: int) -> Source:
        """Return the file and row of one reading."""
        return str(self.file[place]), int(self.row[place])

    def ends(self, low: int, high: int) -> tuple[Source, ...]:
        """Return the file and row of the first and the last of some readings."""
        if high <= low:
            return ()
        return (self.origin(low), self.origin(high - 1))


def trace_of(client: Client) -> Trace:
    """Return the used glucose readings of a client; a row without a value is no reading."""
    return client.derived("trace", None, lambda: _trace_of(client))


def _trace_of(client: Client) -> Trace:
    frame = client.used("glucose")
    value = frame["glucose"].to_numpy(np.float64, na_value=np.nan)
    censored = frame["censored"].to_numpy(np.float64, na_value=0.0)
    told = ~np.isnan(value) | (censored != 0)
    if not told.all():
        frame, value, censored = frame[told], value[told], censored[told]
    at, clock = seconds(frame["time"]), seconds(frame["clock"])
    ordered = np.where(censored < 0, -np.inf, np.where(censored > 0, np.inf, value))
    sensor, names = _sensors(frame["sensor"], clock, client)
    cadence = _cadence(at, sensor)
    file = frame["file"].to_numpy(object)
    to_next = np.diff(at, append=at[-1:] + DAY) / 60
    return Trace(
        at=at,
        clock=clock,
        value=np.where(censored == 0, value, np.nan),
        ordered=ordered,
        minutes=np.minimum(to_next, cadence),
        cadence=cadence,
        sensor=sensor,
        sensors=names,
        file=file,
        row=frame["row"].to_numpy(np.int64),
        tenths=(frame["unit"] == "mmol/L").to_numpy(dtype=bool),
        zones=Zones.seen(at, clock),
    )


def _sensors(
    column: pd.Series, clock: Times, client: Client
) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    changes = sorted(pd.Timestamp(change) for change in client.settings.sensor_changes)
    codes, names = pd.factorize(column.fillna("").astype(object))
    if changes and list(names) in ([], [""]):
        marks = seconds(pd.Series(changes))
        place = np.searchsorted(marks, clock, side="right").astype(np.int64)
        return place, tuple(str(number + 1) for number in range(len(changes) + 1))
    return codes.astype(np.int64), tuple(str(name) for name in names)


def _cadence(at: Times, sensor: NDArray[np.int64]) -> Floats:
    """Return the commonest gap of each reading's day, or of its sensor where that is longer."""
    if at.size < 2:
        return np.full(at.size, float(USUAL_CADENCE_MIN))
    gap = np.maximum(np.rint(np.diff(at) / 60), 1).astype(np.int64)
    day = at // DAY
    group = (day - day[0]) * (int(sensor.max(initial=0)) + 1) + sensor
    inside = (gap <= LONGEST_CADENCE_MIN) & (sensor[1:] == sensor[:-1])
    if not inside.any():
        return np.full(at.size, float(USUAL_CADENCE_MIN))
    usual = _commonest(gap, inside, sensor)
    wide = LONGEST_CADENCE_MIN + 1
    keys, counts = np.unique(group[:-1][inside] * wide + gap[inside], return_counts=True)
    keyed, gaps = keys // wide, keys % wide
    order = np.lexsort((gaps, -counts, keyed))
    groups, first, place = np.unique(keyed[order], return_index=True, return_inverse=True)
    total = np.bincount(place, weights=counts[order])
    modal = np.where(total >= FEWEST_GAPS_FOR_A_CADENCE, gaps[order][first], 0)
    found = np.minimum(np.searchsorted(groups, group), groups.size - 1)
    own = np.where(groups[found] == group, modal[found], 0)
    return np.maximum(own, usual).astype(np.float64)


def _commonest(
    gap: NDArray[np.int64], inside: NDArray[np.bool_], sensor: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return the commonest gap of each reading's sensor, else that of the record."""
    record = int(np.bincount(gap[inside]).argmax())
    usual = np.full(int(sensor.max()) + 1, record, dtype=np.int64)
    for each in np.unique(sensor[1:][inside]):
        usual[each] = np.bincount(gap[inside & (sensor[1:] == each)]).argmax()
    return usual[sensor]


Mask = NDArray[np.bool_]

_TINY = 1e-6


def above(ordered: Floats, tenths: Mask, limit: float) -> Mask:
    """Return which readings are above a limit in mg/dL; the limit itself is not."""
    return np.asarray(ordered > _as_shown(tenths, limit) + _TINY, dtype=bool)


def below(ordered: Floats, tenths: Mask, limit: float) -> Mask:
    """Return which readings are below a limit in mg/dL; the limit itself is not."""
    return np.asarray(ordered < _as_shown(tenths, limit) - _TINY, dtype=bool)


def _as_shown(tenths: Mask, limit: float) -> Floats:
    """Return the limit for each reading, to a tenth of a mmol/L where its file is in that unit.

    Source: Battelino et al. 2019, Diabetes Care 42:1593, and the ADA Standards of Care print
    54, 70, 140, 180 and 200 mg/dL as 3.0, 3.9, 7.8, 10.0 and 11.1 mmol/L.
    """
    rounded = round(limit / MG_DL_PER_MMOL_L, 1) * MG_DL_PER_MMOL_L
    return np.where(tenths, rounded, limit)
