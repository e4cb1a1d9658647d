"""Two traces of glucose at one time that contradict each other: asked about, neither is used."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results import Severity
from miner.records.findings import Findings
from miner.records.text_columns import blank, changes

CONTRADICTED = "contradicted"
APART_MG_DL, APART_SHARE = 15.0, 0.15
FEWEST_APART, SHARE_APART = 6, 0.1
_NEAR_NS = 20 * 60 * 10**9
_SENSORS_MAY_OVERLAP_NS = 24 * 3600 * 10**9
Instants = NDArray[np.int64]
Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Trace:
    """The readings of one file and one sensor in time order: instants (ns) and places."""

    file: str
    sensor: str
    time: Instants
    place: Places

    @property
    def name(self) -> str:
        """How it is named to a person."""
        return f"'{self.file}'" + (f" (sensor {self.sensor})" if self.sensor else "")

    def while_other(self, other: Trace) -> Trace:
        """Return the part of it that stands within 20 minutes of the other's first and last."""
        low = int(np.searchsorted(self.time, other.time[0] - _NEAR_NS))
        high = int(np.searchsorted(self.time, other.time[-1] + _NEAR_NS, side="right"))
        return Trace(self.file, self.sensor, self.time[low:high], self.place[low:high])


def contradicted(frame: pd.DataFrame, begins: Places, findings: Findings) -> Mask | None:
    """Ask about each pair of traces that go on at one time and differ; say where neither counts.

    A trace is what one file holds of one sensor. A reading is compared with the other trace at its
    own instant, on the line between the readings around it, at most 20 minutes away each. It is
    apart by more than 15 mg/dL and more than 15 %. Two traces contradict each other where more
    than a tenth of what was compared, and no fewer than six readings, are apart. Two sensors with
    names of their own may overlap by a day, as where one is changed.

    Source for 15 mg/dL and 15 %: ISO 15197, 2013, 6.3.3 (from memory: verify).

    Args:
        frame: the readings of all files, one file after the other.
        begins: the places at which the second and each later file begins.
        findings: gets one question a pair.

    Returns:
        True for the readings to leave out, (readings,), or None where there are none.
    """
    traces = sorted(_traces(frame, begins), key=lambda trace: int(trace.time[0]))
    doubtful = np.zeros(len(frame), dtype=bool)
    for at, one in enumerate(traces):
        for two in traces[at + 1 :]:
            if two.time[0] > one.time[-1] + _NEAR_NS:
                break
            if _one_is_changed(one, two):
                continue
            both = _both_places(frame, one.while_other(two), two.while_other(one))
            if both is not None:
                doubtful[both] = True
                _ask(frame, one, two, both, findings)
    return doubtful if doubtful.any() else None


def _traces(frame: pd.DataFrame, begins: Places) -> list[Trace]:
    file, sensor = frame["file"], frame["sensor"]
    one_sensor = not changes(sensor).size
    if not begins.size and one_sensor:
        return []
    time = frame["time"].to_numpy().astype("datetime64[ns]").astype(np.int64)
    found: dict[tuple[str, str], list[Places]] = {}
    code = None if one_sensor else pd.factorize(sensor)[0]
    for places in np.split(np.arange(len(frame)), begins):
        for own in [places] if code is None else _by_code(places, code[places]):
            key = (str(file.iloc[own[0]]), str(sensor.iloc[own[0]]))
            found.setdefault(key, []).append(own)
    return [_in_order(*key, time, np.concatenate(places)) for key, places in found.items()]


def _by_code(places: Places, code: Places) -> list[Places]:
    """Return the places of each code, in the order in which the codes first appear."""
    _, first, times = np.unique(code, return_index=True, return_counts=True)
    of_each = np.split(places[np.argsort(code, kind="stable")], np.cumsum(times)[:-1])
    return [of_each[at] for at in np.argsort(first)]


def _in_order(file: str, sensor: str, time: Instants, places: Places) -> Trace:
    own = time[places]
    if (own[1:] < own[:-1]).any():
        order = np.argsort(own, kind="stable")
        own, places = own[order], places[order]
    return Trace(file, sensor, own, places)


def _one_is_changed(one: Trace, two: Trace) -> bool:
    length = min(one.time[-1], two.time[-1]) - max(one.time[0], two.time[0])
    named = one.sensor and two.sensor and one.sensor != two.sensor
    return bool(named) and bool(length <= _SENSORS_MAY_OVERLAP_NS)


def _both_places(frame: pd.DataFrame, one: Trace, two: Trace) -> Places | None:
    """Return the places at which both go on, where they contradict each other; else None."""
    if not (one.time.size and two.time.size):
        return None
    first, second = _values(frame, one), _values(frame, two)
    near_one, apart_one = _beside(one, first, two, second)
    near_two, apart_two = _beside(two, second, one, first)
    told = np.concatenate([apart_one, apart_two])
    apart, compared = int((told == 1).sum()), int((told >= 0).sum())
    if apart < FEWEST_APART or apart <= SHARE_APART * compared:
        return None
    return np.concatenate([one.place[near_one], two.place[near_two]])


def _values(frame: pd.DataFrame, trace: Trace) -> Floats:
    kept = blank(frame["left_out"])[trace.place]
    return np.where(kept, frame["glucose"].to_numpy()[trace.place], np.nan)


def _beside(one: Trace, value: Floats, two: Trace, others: Floats) -> tuple[Mask, NDArray[np.int8]]:
    """Say which readings of one trace stand near the other, and which are apart from it.

    Returns:
        Near: a reading of the other trace within 20 minutes. Apart: 1 apart, 0 not, -1 where the
        two cannot be compared.
    """
    after = np.searchsorted(two.time, one.time, side="left")
    before, after = np.maximum(after - 1, 0), np.minimum(after, len(two.time) - 1)
    since, until = np.abs(one.time - two.time[before]), np.abs(two.time[after] - one.time)
    near = np.minimum(since, until) <= _NEAR_NS
    share = np.where(until == 0, 1.0, since / np.maximum(since + until, 1))
    start = np.where(until == 0, others[after], others[before])
    other = start + share * (others[after] - start)
    known = ~np.isnan(other) & ~np.isnan(value) & (until <= _NEAR_NS)
    known &= ((since <= _NEAR_NS) & (before < after)) | (until == 0)
    difference = np.abs(value - other)
    far = (difference > APART_MG_DL) & (difference > APART_SHARE * np.minimum(value, other))
    return near, np.where(known, far, -1).astype(np.int8)


def _ask(frame: pd.DataFrame, one: Trace, two: Trace, both: Places, findings: Findings) -> None:
    rows = frame.iloc[both]
    clock = rows["clock"]
    first, last = sorted((one, two), key=lambda trace: (trace.file, trace.sensor))
    findings.add(
        Severity.QUESTION,
        "two_traces",
        file=first.file,
        row=int(rows.loc[rows["file"] == first.file, "row"].min()),
        count=len(both),
        stream="glucose",
        days=tuple(np.unique(clock.to_numpy().astype("datetime64[D]")).astype(str)),
        values={"one": first.name, "two": last.name, "start": clock.min(), "end": clock.max()},
    )
