"""Puts the rows of several files into one stream: what is there twice counts once.

Where two traces contradict each other all along, neither is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity, message
from miner.records.columns import CONTRADICTED, TWO_VALUES, columns_of, empty
from miner.records.findings import Findings
from miner.records.place.gaps import modal_gap
from miner.records.text_columns import (
    Mask,
    blank,
    changes,
    dates_of,
    in_one_piece,
    marked,
    used_rows,
)

if TYPE_CHECKING:
    from miner.records.place.times import Stamps

APART_MG_DL, APART_SHARE = 15.0, 0.15
FEWEST_APART, SHARE_APART = 6, 0.1
_NEAR_NS = 20 * 60 * 10**9
_SENSORS_MAY_OVERLAP_NS = 24 * 3600 * 10**9
Instants = NDArray[np.int64]
Floats = NDArray[np.float64]
Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class GlucoseTrace:
    """The readings of one file and one sensor in time order: instants (ns) and places."""

    file: str
    sensor: str
    time: Instants
    place: Places

    @property
    def name(self) -> str:
        """How it is named to a person."""
        return f"'{self.file}'" + (f" (sensor {self.sensor})" if self.sensor else "")

    def while_other(self, other: GlucoseTrace) -> GlucoseTrace:
        """Return the part of it that is within 20 minutes of the other's first and last."""
        low = int(np.searchsorted(self.time, other.time[0] - _NEAR_NS))
        high = int(np.searchsorted(self.time, other.time[-1] + _NEAR_NS, side="right"))
        return GlucoseTrace(self.file, self.sensor, self.time[low:high], self.place[low:high])


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


def _traces(frame: pd.DataFrame, begins: Places) -> list[GlucoseTrace]:
    if not begins.size and not changes(frame["sensor"]).size:
        return []
    time = frame["time"].to_numpy().astype("datetime64[ns]").astype(np.int64)
    file, sensor = frame["file"], frame["sensor"]
    key = pd.factorize(file)[0] * len(frame) + pd.factorize(sensor)[0]
    order = np.argsort(key, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(key[order])) + 1)
    return [_in_order(str(file.iloc[x[0]]), str(sensor.iloc[x[0]]), time, x) for x in groups]


def _in_order(file: str, sensor: str, time: Instants, places: Places) -> GlucoseTrace:
    own = time[places]
    if (own[1:] < own[:-1]).any():
        order = np.argsort(own, kind="stable")
        own, places = own[order], places[order]
    return GlucoseTrace(file, sensor, own, places)


def _one_is_changed(one: GlucoseTrace, two: GlucoseTrace) -> bool:
    length = min(one.time[-1], two.time[-1]) - max(one.time[0], two.time[0])
    named = one.sensor and two.sensor and one.sensor != two.sensor
    return bool(named) and bool(length <= _SENSORS_MAY_OVERLAP_NS)


def _both_places(frame: pd.DataFrame, one: GlucoseTrace, two: GlucoseTrace) -> Places | None:
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


def _values(frame: pd.DataFrame, trace: GlucoseTrace) -> Floats:
    kept = blank(frame["left_out"])[trace.place]
    return np.where(kept, frame["glucose"].to_numpy()[trace.place], np.nan)


def _beside(
    one: GlucoseTrace, value: Floats, two: GlucoseTrace, others: Floats
) -> tuple[Mask, NDArray[np.int8]]:
    """Say which readings of one trace are near the other, and which are apart from it.

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


def _ask(
    frame: pd.DataFrame, one: GlucoseTrace, two: GlucoseTrace, both: Places, findings: Findings
) -> None:
    rows = frame.iloc[both]
    clock = rows["clock"]
    first, last = sorted((one, two), key=lambda trace: (trace.file, trace.sensor))
    findings.whole(
        Severity.QUESTION,
        "two_traces",
        rows,
        file=first.file,
        row=int(rows.loc[rows["file"] == first.file, "row"].min()),
        stream="glucose",
        days=dates_of(rows),
        values={"one": first.name, "two": last.name, "start": clock.min(), "end": clock.max()},
    )


SHARE_MIXED, FEWEST_MIXED = 0.25, 200
"""From this share of a file on, two traces are mixed in it, and the stream is stopped."""

_SAME_TIME = np.timedelta64(60, "s")
_SAME_MG_DL = 1.5
_NEAR_MIN = 15.0


def join_files(stream: str, frames: list[pd.DataFrame]) -> pd.DataFrame:
    """Put the rows of all files of one stream one after the other."""
    frames = [frame for frame in frames if not frame.empty]
    if not frames:
        return empty(stream)
    return in_one_piece(pd.concat(frames, ignore_index=True))


def once(stream: str, frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """Return a stream in time order, each record once.

    Two different values of one sensor in the same minute are both left out; values of two known
    sensors are both kept. Where two traces contradict each other all along neither is used.
    """
    if frame.empty:
        return frame[columns_of(stream)]
    if stream == "glucose":
        return _readings(frame[columns_of(stream)], findings)
    time = frame.columns[0]
    if not frame[time].is_monotonic_increasing:
        frame = frame.sort_values(time, kind="stable", ignore_index=True)
    frame = _records_once(stream, frame, findings)
    return _nights_once(frame, findings) if stream == "sleep" else frame


def _readings(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    begins = changes(frame["file"])
    doubtful = contradicted(frame, begins, findings)
    if doubtful is None:
        return _contradictions(_glucose_once(frame, begins, findings), findings)
    settled, left = frame[~doubtful], np.cumsum(~doubtful)
    settled = _glucose_once(settled, np.unique(left[begins - 1]), findings)
    settled = _contradictions(settled, findings)
    both = marked(frame, doubtful, CONTRADICTED)[doubtful]
    return pd.concat([settled, both]).sort_values("time", kind="stable", ignore_index=True)


def _glucose_once(
    frame: pd.DataFrame, begins: NDArray[np.int64], findings: Findings
) -> pd.DataFrame:
    """Return the readings in time order, each once; the columns are taken along only once."""
    unsorted = frame["time"].to_numpy()
    in_order = bool((unsorted[1:] >= unsorted[:-1]).all())
    order = np.arange(len(frame)) if in_order else np.argsort(unsorted, kind="stable")
    time = unsorted[order]
    if len(time) < 2 or np.diff(time).min() > _SAME_TIME:
        return frame if in_order else frame.iloc[order].reset_index(drop=True)
    gaps = [modal_gap(part) for part in np.split(unsorted, begins)]
    near = min([_SAME_TIME, *(gap // 2 for gap in gaps if gap is not None)])
    again = _again(frame, order, time, near)
    findings.rows(
        Severity.NOTE, "readings_written_twice", at=frame[["file", "row"]].iloc[order[again]]
    )
    return frame.iloc[np.delete(order, again)].reset_index(drop=True)


def _again(
    frame: pd.DataFrame, order: NDArray[np.int64], time: Stamps, near: np.timedelta64
) -> NDArray[np.int64]:
    """Return the places in time order of readings that are within ``near`` before already."""
    value, censored = (frame[name].to_numpy() for name in ("glucose", "censored"))
    sensor = frame["sensor"]
    one_sensor = not changes(sensor).size
    found = np.zeros(len(time), dtype=bool)
    for back in (1, 2, 3):
        at = np.flatnonzero(time[back:] - time[:-back] <= near) + back
        if not at.size:
            break
        here, before = order[at], order[at - back]
        same = np.abs(value[here] - value[before]) <= _SAME_MG_DL
        same |= (censored[here] == censored[before]) & (censored[here] != 0)
        if not one_sensor:
            one, two = (sensor.iloc[each].array for each in (here, before))
            same &= np.asarray((one == two) | (one == "") | (two == ""))
        found[at[same]] = True
    return np.flatnonzero(found)


def _contradictions(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    time = frame["time"].to_numpy()
    if len(time) < 2 or np.diff(time).min() >= _SAME_TIME:
        return frame
    minute = time.astype("datetime64[m]")
    clash = minute[1:] == minute[:-1]
    if not clash.any():
        return frame
    used = blank(frame["left_out"])
    rival = np.zeros(len(frame), dtype=bool)
    sensor = pd.factorize(frame["sensor"])[0]
    unknown = blank(frame["sensor"])
    clash &= used[1:] & used[:-1]
    clash &= (sensor[1:] == sensor[:-1]) | unknown[1:] | unknown[:-1]
    rival[1:] |= clash
    rival[:-1] |= clash
    file = frame["file"]
    share = pd.Series(rival).groupby(file.to_numpy()).mean()
    mixed = file.isin(share.index[share >= SHARE_MIXED]).to_numpy() & (rival.sum() >= FEWEST_MIXED)
    within = np.append(False, file.to_numpy()[1:] == file.to_numpy()[:-1]) & np.append(False, clash)
    mixed &= file.isin(file[within].unique()).to_numpy()
    for severity, some in ((Severity.STOP, rival & mixed), (Severity.QUESTION, rival & ~mixed)):
        values = frame.loc[some, "glucose"].round(1)
        shown = [message("records.reading_in_full", value=value) for value in values]
        findings.rows(severity, "two_values", at=frame[some], shown=shown, stream="glucose")
    return marked(frame, rival, TWO_VALUES)


def _records_once(stream: str, frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    if frame.iloc[:, 0].is_unique:
        return frame[columns_of(stream)].reset_index(drop=True)
    content = [name for name in columns_of(stream) if name not in ("file", "row", "left_out")]
    again = frame.duplicated([*content, "file", "twin"]).to_numpy(copy=True)
    if frame["file"].nunique() > 1:
        within = frame[~again]
        copy = within.groupby([*content, "file"], dropna=False, sort=False).cumcount()
        elsewhere = within.assign(twin=copy).duplicated([*content, "twin"])
        again[within.index[elsewhere]] = True
    findings.rows(
        Severity.NOTE, "records_written_twice", at=frame[again], values={"stream": stream}
    )
    return frame.loc[~again, columns_of(stream)].reset_index(drop=True)


def _nights_once(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    again, rival = _rival_nights(used_rows(frame))
    if not again and not rival:
        return frame
    findings.rows(Severity.NOTE, "night_written_again", at=frame.loc[again])
    rows = frame.loc[rival]
    shown = rows["start_clock"].dt.strftime("%Y-%m-%d %H:%M")
    findings.rows(Severity.QUESTION, "two_nights", at=rows, shown=shown, stream="sleep")
    frame.loc[rival, "left_out"] = "two_nights"
    return frame.drop(index=again).reset_index(drop=True)


def _rival_nights(nights: pd.DataFrame) -> tuple[list[int], list[int]]:
    start, end = (nights[name].to_numpy() for name in ("start", "end"))
    minutes = [(times - start[:1]) / np.timedelta64(1, "m") for times in (start, end)]
    columns = (*minutes, nights["asleep_min"])
    rows = list(zip(*(map(float, column) for column in columns), strict=True))
    label = nights.index.tolist()
    place = list(zip(nights["file"], nights["row"], label, strict=True))
    again: set[int] = set()
    rival: set[int] = set()
    for at, first in enumerate(rows):
        for later in range(at + 1, len(rows)):
            if rows[later][0] >= first[1]:
                break
            if any(abs(a - b) > _NEAR_MIN for a, b in zip(first, rows[later], strict=True)):
                rival |= {label[at], label[later]}
            else:
                again.add(min(place[at], place[later])[2])
    return sorted(again), sorted(rival - again)
