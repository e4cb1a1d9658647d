"""The glucose readings as arrays, each with the time it stands for, and windows over them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Message
from miner.records.client import Client
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.tables.columns import DAY, Floats, Mask, Source, Times, Zones, seconds

USUAL_CADENCE_MIN = 5
LONGEST_CADENCE_MIN = 60
FEWEST_GAPS_FOR_A_CADENCE = 12
SMOOTHED_OVER_MIN = 15
BEYOND = 1e9
_TINY = 1e-6


@dataclass(frozen=True, slots=True)
class Trace:
    """Readings in time order.

    Attributes:
        at, clock: instants and wall-clock times in seconds.
        value: mg/dL, NaN where the sensor showed only LO or HI.
        ordered: the same with LO as minus and HI as plus infinity, for medians and limits.
        smooth: the median of each sensor's readings within 7.5 minutes either side of each, with LO
            and HI beyond every reading: where the median is one of them it is -1e9 or 1e9.
        minutes: the time each reading stands for: up to the next one, at most one cadence. So a
            stored reading next to one on demand is not counted twice, and a gap is never filled.
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
    smooth: Floats
    minutes: Floats
    cadence: Floats
    sensor: NDArray[np.int64]
    sensors: tuple[str, ...]
    file: NDArray[np.object_]
    row: NDArray[np.int64]
    tenths: NDArray[np.bool_]
    zones: Zones

    @property
    def shown(self) -> Floats:
        """The time each reading stands for, 0 where the sensor showed only LO or HI."""
        return np.where(np.isnan(self.value), 0.0, self.minutes)

    def above(self, limit: float) -> Mask:
        """Return which readings are above a limit in mg/dL; the limit itself is not."""
        return np.asarray(self.ordered > self._as_shown(limit) + _TINY, dtype=bool)

    def below(self, limit: float) -> Mask:
        """Return which readings are below a limit in mg/dL; the limit itself is not."""
        return np.asarray(self.ordered < self._as_shown(limit) - _TINY, dtype=bool)

    def _as_shown(self, limit: float) -> Floats:
        """Return the limit for each reading, to a tenth of a mmol/L where its file is in that unit.

        Source: Battelino et al. 2019, Diabetes Care 42:1593, and the ADA Standards of Care print
        54, 70, 140, 180 and 200 mg/dL as 3.0, 3.9, 7.8, 10.0 and 11.1 mmol/L.
        """
        rounded = round(limit / MG_DL_PER_MMOL_L, 1) * MG_DL_PER_MMOL_L
        return np.where(self.tenths, rounded, limit)

    def ends(self, low: int, high: int) -> tuple[Source, ...]:
        """Return the file and row of the first and the last of some readings."""
        if high <= low:
            return ()
        return tuple((str(self.file[at]), int(self.row[at])) for at in (low, high - 1))


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
        smooth=_smoothed(at, ordered, sensor),
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
    gap = np.maximum(np.rint(np.diff(at) / 60), 1).astype(np.int64)
    counted = (gap <= LONGEST_CADENCE_MIN) & (sensor[1:] == sensor[:-1])
    if not counted.any():
        return np.full(at.size, float(USUAL_CADENCE_MIN))
    frame = pd.DataFrame({"sensor": sensor, "day": at // DAY})
    gaps = frame[:-1].assign(gap=gap)[counted]
    whole = int(np.bincount(gaps["gap"]).argmax())
    usual = frame["sensor"].map(_commonest(gaps, ["sensor"])["gap"]).fillna(whole)
    days = _commonest(gaps, ["sensor", "day"])
    own = days["gap"].where(days["count"] >= FEWEST_GAPS_FOR_A_CADENCE)
    found = own.reindex(pd.MultiIndex.from_frame(frame)).to_numpy(np.float64)
    return np.asarray(np.fmax(found, usual.to_numpy(np.float64)))


def _commonest(gaps: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Return the commonest gap of each group, the shortest of several, and the count of all."""
    counts = gaps.groupby([*by, "gap"]).size().rename("count").reset_index()
    total = counts.groupby(by)["count"].sum()
    first = counts.sort_values(["count", "gap"], ascending=[False, True]).drop_duplicates(by)
    return first.set_index(by)[["gap"]].join(total)


def _smoothed(at: Times, ordered: Floats, sensor: NDArray[np.int64]) -> Floats:
    bounded = np.clip(ordered, -BEYOND, BEYOND)
    out = np.empty(bounded.size)
    window = pd.Timedelta(minutes=SMOOTHED_OVER_MIN)
    for each in np.unique(sensor):
        rows = sensor == each
        series = pd.Series(bounded[rows], index=at[rows].astype("datetime64[s]"))
        out[rows] = series.rolling(window, center=True, closed="both", min_periods=1).median()
    return beyond(out)


def beyond(medians: Floats) -> Floats:
    """Return medians, with those of which half is beyond the sensor beyond it as a whole."""
    return np.where(np.abs(medians) > BEYOND / 4, np.sign(medians) * BEYOND, medians)


@dataclass(frozen=True, slots=True)
class Windows:
    """One window a day over the readings.

    Attributes:
        start, end: instants in seconds, the end not included.
        low, high: places of its first reading and one past its last.
        why: why there is no window, None where there is one.
    """

    trace: Trace
    start: Times
    end: Times
    low: NDArray[np.intp]
    high: NDArray[np.intp]
    why: Sequence[Message | None]

    @classmethod
    def over(
        cls, trace: Trace, start: Times, end: Times, why: Sequence[Message | None] | None = None
    ) -> Windows:
        """Return windows over a trace; without reasons there is each of them."""
        low = np.searchsorted(trace.at, start, side="left")
        high = np.maximum(np.searchsorted(trace.at, end, side="left"), low)
        return cls(trace, start, end, low, high, why or (None,) * start.size)

    @property
    def places(self) -> list[tuple[int, int]]:
        """The place of the first reading of each, and one past its last."""
        return list(zip(self.low.tolist(), self.high.tolist(), strict=True))

    def sums(self, amount: Floats) -> Floats:
        """Return the sum of an amount a reading over each window."""
        if not self.low.size:
            return np.zeros(0)
        places = np.stack([self.low, self.high], axis=1).ravel()
        summed = np.add.reduceat(np.append(amount, 0.0), places)[::2]
        return np.where(self.high > self.low, summed, 0.0)

    def share(self, part: Floats, whole: Floats) -> Floats:
        """Return the sum of one amount over that of another, NaN where the other is none."""
        above, below = self.sums(part), self.sums(whole)
        out = np.full(below.shape, np.nan)
        return np.asarray(np.divide(above, below, out=out, where=below > 0))

    def each(self, measure: Callable[[slice], float]) -> Floats:
        """Return a number of the readings of each window, NaN for one without readings."""
        found = [measure(slice(a, b)) if b > a else np.nan for a, b in self.places]
        return np.array(found, dtype=np.float64)


def weighted_mean(value: Floats, minutes: Floats) -> float:
    """Return the mean of readings weighted by the time they stand for; NaN is no reading."""
    seen = ~np.isnan(value)
    value, minutes = value[seen], minutes[seen]
    return float((value * minutes).sum() / minutes.sum()) if value.size else float("nan")


def weighted_sd(value: Floats, minutes: Floats) -> float:
    """Return the standard deviation with n - 1 of readings weighted by the time they stand for.

    Formula: sqrt(n / (n - 1) * sum w (x - m)^2 / sum w), m the weighted mean; with equal
    weights the sample standard deviation. NaN is no reading; NaN with fewer than two.
    """
    count = int((~np.isnan(value)).sum())
    if count < 2:
        return float("nan")
    spread = weighted_mean((value - weighted_mean(value, minutes)) ** 2, minutes)
    return float(np.sqrt(spread * count / (count - 1)))
