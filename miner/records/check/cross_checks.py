"""Streams that do not agree in time: reported with the shift that would help, never moved.

How well streams agree is reported by pure functions of arrays of minutes on one time line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Message, Severity, message
from miner.records.check.clocks import days_that_do_not_meet, iso_day
from miner.records.columns import STILL
from miner.records.text_columns import used_rows

if TYPE_CHECKING:
    from miner.records.findings import Findings

Floats = NDArray[np.float64]

STEP_MIN = 15.0
FARTHEST_MIN = 14 * 60.0
LEAST_SHIFT_MIN = 45.0
EDGE_MIN, AROUND_MIN = 20.0, 90.0
SHORTEST_NIGHT_MIN = 180.0
FEWEST_NIGHTS, SPAN_NIGHTS = 7, 28
DAY_MIN = 1440.0
SHIFTS = np.arange(-FARTHEST_MIN, FARTHEST_MIN + 1, STEP_MIN)
_NONE = int(np.flatnonzero(SHIFTS == 0)[0])
SHARE_BETTER, LUCK = 0.7, 1e-3
"""Of the nights that differ, so many must be better with a shift, and so rarely by luck."""

FEWEST_BETTER, SHARE_FEWER = 3, 2 / 3
SHARE_DISTURBED, FEWEST_DISTURBED, SHARE_LEFT = 0.25, 5, 1 / 3

FEWEST_MEALS, MEALS_APART_MIN = 30, 60.0
RISE_WITHIN_MIN, LONGEST_GAP_MIN, MOST_RISE = 60.0, 20.0, 40.0
LEAST_RISE, LEAST_T = 10.0, 5.0


@dataclass(frozen=True, slots=True)
class RunningTotal:
    """What happened over time, as a running total that grows evenly between its points.

    Attributes:
        at: minutes, rising.
        total: all that happened up to then.
    """

    at: Floats
    total: Floats

    @classmethod
    def of(cls, start: Floats, end: Floats, amount: Floats) -> RunningTotal:
        """Return the running total of amounts that are spread evenly from start to end.

        Args:
            start: minutes.
            end: minutes; one that is not later counts as half a minute later.
            amount: how much of it, such as steps.
        """
        end = np.maximum(end, start + 0.5)
        rate = amount / (end - start)
        at, place = np.unique(np.concatenate([start, end]), return_inverse=True)
        change = np.bincount(place, np.concatenate([rate, -rate]), minlength=len(at))
        total = np.concatenate([[0.0], np.cumsum(np.cumsum(change)[:-1] * np.diff(at))])
        return cls(at, total)

    def between(self, start: Floats, end: Floats) -> Floats:
        """Return how much happened from each start to each end."""
        low, high = (np.interp(times, self.at, self.total) for times in (start, end))
        return np.asarray(high - low, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Shift:
    """By what shift a stream would agree with the nights, or meals with the rises of glucose.

    Attributes:
        minutes: to be added to the times of the stream, in quarter hours.
        of: how many nights, or meals, there are.
        now: on how many nights more happened than a sleeper does; of meals, by how much glucose
            rises in the hour after them, mg/dL, on average.
        then: the same with the shift.
        first, last: when the first of the nights begins and the last one ends, in minutes.
    """

    minutes: int
    of: int
    now: float
    then: float
    first: float = np.nan
    last: float = np.nan


def shift_of_movement(start: Floats, end: Floats, moved: RunningTotal, most: float) -> Shift | None:
    """Return the shift with which movement ends before the nights and begins after them, or None.

    A night counts for what moves in the 90 minutes before and after it, and against what moves
    within it, each up to three times ``most``. None where there are fewer than seven nights, and
    where the best shift, of 45 minutes to 14 hours, is not plainly better than none: of the nights
    that differ seven in ten must be better, as luck would have it in less than 1 of 1,000 (or half
    of all nights must be calm with it and are not without), and a third fewer nights, at least
    three, may hold more movement than a sleeper makes. Where this holds of no shift for all nights
    it is looked for in spans of 28 nights in a row: a clock may be wrong for some weeks only.

    Args:
        start: of the nights in minutes, (nights,), in order.
        end: of them; nights under three hours do not count.
        moved: steps, or minutes of movement in their place.
        most: how much of it a sleeper may make.
    """
    start, end = _recorded(start, end, moved)
    if len(start) < FEWEST_NIGHTS:
        return None
    a, b = start - SHIFTS[:, None], end - SHIFTS[:, None]
    inside = moved.between(a + EDGE_MIN, b - EDGE_MIN)
    parts = (moved.between(a - AROUND_MIN, a), moved.between(b, b + AROUND_MIN), -inside)
    score = np.sum([np.clip(part, -3 * most, 3 * most) for part in parts], axis=0)
    nights = len(start)
    found = _of_some(score, inside > most, most, 0, nights)
    starts = [] if found else [*range(0, nights - SPAN_NIGHTS, 7), nights - SPAN_NIGHTS]
    spans = [_of_some(score, inside > most, most, at, at + SPAN_NIGHTS) for at in starts if at >= 0]
    found = found or max((each for each in spans if each), key=lambda each: each.now, default=None)
    return found and replace(found, first=start[int(found.first)], last=end[int(found.last)])


def _of_some(
    score: Floats, disturbed: NDArray[np.bool_], most: float, low: int, high: int
) -> Shift | None:
    """Return the best shift of some nights where it is plainly better than none."""
    score, disturbed = score[:, low:high], disturbed[:, low:high]
    nights = score.shape[1]
    best = int(score.mean(axis=1).argmax())
    now, then = int(disturbed[_NONE].sum()), int(disturbed[best].sum())
    fewer = now - then >= FEWEST_BETTER and then <= SHARE_FEWER * now
    plain = _plainly_better(score[best] - score[_NONE], most / 4) or now - then >= nights / 2
    if abs(SHIFTS[best]) < LEAST_SHIFT_MIN or not plain or not fewer:
        return None
    return Shift(int(SHIFTS[best]), nights, now, then, low, high - 1)


def shift_of_events(
    start: Floats, end: Floats, happened: RunningTotal, most: float
) -> Shift | None:
    """Return the smallest shift with which hardly anything happens in the nights, or None.

    None where fewer than a quarter of the nights, or fewer than five, hold more than ``most``, and
    where no shift leaves a third of these or fewer.

    Args:
        start: of the nights in minutes, (nights,).
        end: of them; nights under three hours do not count.
        happened: what a sleeper does not do, such as meals.
        most: how much of it may happen in a night all the same.
    """
    start, end = _recorded(start, end, happened)
    if len(start) < FEWEST_NIGHTS:
        return None
    now = int((happened.between(start + EDGE_MIN, end - EDGE_MIN) > most).sum())
    if now < max(FEWEST_DISTURBED, SHARE_DISTURBED * len(start)):
        return None
    a, b = start - SHIFTS[:, None], end - SHIFTS[:, None]
    disturbed = (happened.between(a + EDGE_MIN, b - EDGE_MIN) > most).sum(axis=1)
    fewest = int(disturbed.min())
    if fewest > SHARE_LEFT * now:
        return None
    few = np.flatnonzero(disturbed <= max(fewest, SHARE_LEFT / 2 * now))
    best = int(few[np.abs(SHIFTS[few]).argmin()])
    if abs(SHIFTS[best]) < LEAST_SHIFT_MIN:
        return None
    then = int(disturbed[best])
    return Shift(int(SHIFTS[best]), len(start), now, then, start.min(), end.max())


def shift_of_meals(eaten: Floats, minutes: Floats, glucose: Floats) -> Shift | None:
    """Return the shift with which glucose rises after meals, or None.

    Each meal an hour or more after the one before counts for what glucose rises in the hour after
    it, up to 40 mg/dL either way. None where there are fewer than 30, and where the best shift, of
    45 minutes to 14 hours, is not plainly better than none: at least 10 mg/dL on average, twice
    what it is without, and the difference at least five standard errors.

    Args:
        eaten: when meals were noted, in minutes.
        minutes: of the readings, in order.
        glucose: mg/dL, none unknown.
    """
    eaten = np.unique(eaten)
    eaten = eaten[np.diff(eaten, prepend=-np.inf) >= MEALS_APART_MIN]
    if len(eaten) < FEWEST_MEALS or len(minutes) < FEWEST_MEALS:
        return None
    noted = _rise(eaten, minutes, glucose)
    if np.nansum(noted) > MOST_RISE / 2 * (~np.isnan(noted)).sum() > 0:
        return None
    rise = _rise(eaten + SHIFTS[:, None], minutes, glucose)
    known = ~np.isnan(rise)
    count = np.maximum(known.sum(axis=1), 1)
    mean = np.where(known, rise, 0.0).sum(axis=1) / count
    best = int(np.where(count >= FEWEST_MEALS, mean, -np.inf).argmax())
    gain = (rise[best] - rise[_NONE])[known[best] & known[_NONE]]
    if len(gain) < FEWEST_MEALS or abs(SHIFTS[best]) < LEAST_SHIFT_MIN:
        return None
    error = float(gain.std(ddof=1)) / np.sqrt(len(gain))
    now, then = float(mean[_NONE]), float(mean[best])
    if then < LEAST_RISE or then < 2 * now or float(gain.mean()) < LEAST_T * error:
        return None
    return Shift(int(SHIFTS[best]), len(eaten), now, then)


def _rise(at: Floats, minutes: Floats, glucose: Floats) -> Floats:
    later = _level(at + RISE_WITHIN_MIN, minutes, glucose)
    return np.clip(later - _level(at, minutes, glucose), -MOST_RISE, MOST_RISE)


def _level(at: Floats, minutes: Floats, glucose: Floats) -> Floats:
    """Return glucose on the line between readings, NaN where none is within 20 minutes."""
    after = np.clip(np.searchsorted(minutes, at), 1, len(minutes) - 1)
    near = np.minimum(np.abs(minutes[after] - at), np.abs(minutes[after - 1] - at))
    return np.where(near <= LONGEST_GAP_MIN, np.interp(at, minutes, glucose), np.nan)


def _plainly_better(gain: Floats, least: float) -> bool:
    """Say whether most nights that differ are better, beyond luck (sign test, one-sided)."""
    from scipy.stats import binom

    better, worse = int((gain > least).sum()), int((gain < -least).sum())
    luck = float(binom.sf(better - 1, better + worse, 0.5))
    return better >= SHARE_BETTER * (better + worse) and luck < LUCK


def _recorded(start: Floats, end: Floats, happened: RunningTotal) -> tuple[Floats, Floats]:
    """Return the long nights that are where the other stream was recorded, to a day."""
    if not happened.at.size:
        return start[:0], end[:0]
    low, high = happened.at[0] - DAY_MIN, happened.at[-1] + DAY_MIN
    kept = (end - start >= SHORTEST_NIGHT_MIN) & (end > low) & (start < high)
    return start[kept], end[kept]


STEPS_ASLEEP = 200.0
STEPS_A_MINUTE = 100.0
"""Of a movement whose steps are not known. Source: Tudor-Locke et al. 2018, Br J Sports Med 52:776
(walking at moderate intensity, rounded)."""

STRESS_ASLEEP_MIN = 20.0
WHOLE_DAY = pd.Timedelta(hours=23)
MOST_OF_IT = 0.8
Streams = Mapping[str, pd.DataFrame]


@dataclass(frozen=True, slots=True)
class _Apart:
    """A stream, the shift that would help, and how it is reported that this is so."""

    stream: str
    shift: Shift
    evidence: Message


def hold_together(streams: Streams, findings: Findings) -> None:
    """Report a stream whose clock seems to differ from another's, and streams without common days.

    Sleep is compared with steps, meals, stress and tags, meals with the rises of glucose, and the
    days of every stream with those of the glucose.

    Args:
        streams: the six, each with ``left_out`` filled in.
        findings: gets what is asked.
    """
    if all(frame.empty for name, frame in streams.items() if name != "glucose"):
        return
    used = {name: used_rows(frame) for name, frame in streams.items()}
    days_that_do_not_meet(used, findings)
    apart, meals = _from_sleep(used), _meals_and_glucose(used)
    if meals is not None:
        _ask_meals(meals, used["meals"], findings)
        apart = [item for item in apart if item.stream != "meals"]
    if apart:
        _ask(apart, used, findings)


def _from_sleep(used: Streams) -> list[_Apart]:
    sleep = used["sleep"]
    sleep = sleep[sleep["kind"] != "nap"]
    start, end = _minutes(sleep["start"]), _minutes(sleep["end"])
    found = []
    for name in ("activity", "stress", "meals", "tags"):
        frame = used[name]
        if not len(frame) or not len(sleep):
            continue
        happened, most = _happened(name, frame)
        look = shift_of_movement if name == "activity" else shift_of_events
        shift = look(start, end, happened, most)
        if shift is not None:
            some = "nights" if shift.of > MOST_OF_IT * len(start) else "some_nights"
            found.append(_Apart(name, shift, _evidence(name, shift, some)))
    return found


def _happened(name: str, frame: pd.DataFrame) -> tuple[RunningTotal, float]:
    """Return what a sleeper does not do, as amounts over time, and how much is too much."""
    if name in ("meals", "tags"):
        at = _minutes(frame["time" if name == "meals" else "start"])
        return RunningTotal.of(at, at, np.ones(len(at))), 0.5
    if name == "stress":
        start, end = _minutes(frame["start"]), _minutes(frame["end"])
        return RunningTotal.of(start, end, end - start), STRESS_ASLEEP_MIN
    frame = frame[frame["end"] - frame["start"] < WHOLE_DAY]
    start, end = _minutes(frame["start"]), _minutes(frame["end"])
    active = frame["active_min"].to_numpy(np.float64)
    active = np.where(np.isnan(active), end - start, active)
    guessed = np.where((frame["kind"] == STILL).to_numpy(), 0.0, STEPS_A_MINUTE * active)
    steps = frame["steps"].to_numpy(np.float64)
    return RunningTotal.of(start, end, np.where(np.isnan(steps), guessed, steps)), STEPS_ASLEEP


def _meals_and_glucose(used: Streams) -> Shift | None:
    glucose = used["glucose"].dropna(subset=["glucose"]).sort_values("time", kind="stable")
    return shift_of_meals(
        _minutes(used["meals"]["time"]),
        _minutes(glucose["time"]),
        glucose["glucose"].to_numpy(np.float64),
    )


def _minutes(times: pd.Series[pd.Timestamp]) -> Floats:
    seconds = times.to_numpy().astype("datetime64[s]").astype(np.int64)
    return np.asarray(seconds / 60, dtype=np.float64)


def _ask(apart: list[_Apart], used: Streams, findings: Findings) -> None:
    """Ask about the clock of one stream; about that of sleep where several differ from it."""
    item = min(apart, key=lambda each: (each.stream != "activity", -abs(each.shift.minutes)))
    shift, now = item.shift, max(each.shift.now for each in apart)
    stream, against, minutes = item.stream, "sleep", shift.minutes
    kind = "movement" if stream == "activity" else "events"
    if len(apart) > 1:
        stream, against, minutes, kind = "sleep", stream, -minutes, "sleep"
    evidence = [each.evidence for each in apart]
    values = {"stream": stream, "against": against, "shift_min": minutes}
    values |= {"now": shift.now, "then": shift.then, "of": shift.of}
    values |= {"evidence": evidence if len(apart) > 1 else evidence[0], "way": _way(minutes)}
    about = partial(findings.whole, row=None, told_as=f"clock_apart_{kind}", stream=stream)
    code, frame = "clock_apart", used[stream]
    about(Severity.QUESTION, code, frame, count=now, gain_days=now, values=values)


def _ask_meals(shift: Shift, meals: pd.DataFrame, findings: Findings) -> None:
    values = {"against": "glucose", "shift_min": shift.minutes, "of": shift.of}
    values |= {"now": round(shift.now, 1), "then": round(shift.then, 1)}
    values |= {"rise_now": shift.now, "rise_then": shift.then, "way": _way(shift.minutes)}
    days = meals["clock"].dt.normalize().nunique()
    about = partial(findings.whole, row=None, told_as="clock_apart_meals", stream="meals")
    about(Severity.QUESTION, "clock_apart", meals, count=shift.of, gain_days=days, values=values)


def _evidence(stream: str, shift: Shift, some: str) -> Message:
    first, last = (iso_day(int(minutes // DAY_MIN)) for minutes in (shift.first, shift.last))
    dates = {"first": first, "last": last} if some == "some_nights" else {}
    nights = message(f"records.{some}", now=shift.now, of=shift.of, **dates)
    kind = stream if stream in ("activity", "stress") else "noted"
    return message(f"records.{kind}_asleep", stream=stream, nights=nights)


def _way(minutes: int) -> Message:
    hours, rest = divmod(abs(minutes), 60)
    parts = [message("records.hours", n=hours)] if hours else []
    parts += [message("records.minutes", n=rest)] if rest else []
    return message(f"records.{'later' if minutes > 0 else 'earlier'}", length=parts)
