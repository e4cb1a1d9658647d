"""Times that cannot be right by themselves: reported, with what would help.

Days that hardly meet those of the glucose; clocks without an afternoon, or with another offset than
the readings'; records that end before they begin in most rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Message, Severity, message
from miner.records.columns import BACKWARDS
from miner.records.text_columns import clock_of, used_rows

if TYPE_CHECKING:
    from miner.records.findings import Findings

Days = NDArray[np.int64]
COVERS, COVERS_SHIFTED = 0.25, 0.75
FEWEST_DAYS = 3
YEARS = (-366, -365, 365, 366)
LAST_MONTH = 12


def days_that_do_not_meet(used: Mapping[str, pd.DataFrame], findings: Findings) -> None:
    """Ask about a stream whose days hardly meet the glucose, or would with day and month turned.

    Most rows outside the days of the glucose are a question too, unless the stream was kept for
    longer and is as full on the days of the glucose as on others: that is only reported.

    Args:
        used: the streams, each without what is left out.
        findings: gets what is asked.
    """
    readings = _days(used["glucose"])
    span = np.unique(readings)
    if len(span) < FEWEST_DAYS:
        return
    for name, frame in used.items():
        rows = _days(frame)
        days = np.unique(rows)
        if name == "glucose" or len(days) < FEWEST_DAYS:
            continue
        outside = (rows < span[0]) | (rows > span[-1])
        apart = np.isin(days, span).mean() < 0.5 and _share(days, span) < COVERS
        if outside.mean() <= 0.5 and not apart:
            continue
        shift, would = _what_would_help(days, span)
        known = {"first": iso_day(span[0]), "last": iso_day(span[-1])}
        about = partial(findings.whole, row=None, stream=name)
        if would or apart or not _kept_for_longer(rows, span):
            inside = np.isin(days, span)
            values: dict[str, Any] = {"common_days": int(inside.sum()), "shift_days": shift}
            values |= {"begins": iso_day(days[0]), "ends": iso_day(days[-1])}
            gain, away = len(span) - int(np.isin(span, days).sum()), int((~inside).sum())
            values |= known | {"would": would or ""}
            about(Severity.QUESTION, "days_apart", frame, count=away, gain_days=gain, values=values)
        else:
            values = {"rows": len(frame)} | known
            about(Severity.NOTE, "rows_outside", frame, count=int(outside.sum()), values=values)


def _what_would_help(days: Days, span: Days) -> tuple[int, Message | None]:
    """Return by how many days to move a stream so that it meets the glucose, and the findings."""
    turned = _turned(days)
    meet = 0 if turned is None else int(((turned >= span[0]) & (turned <= span[-1])).sum())
    if meet >= COVERS_SHIFTED * len(days):
        return 0, message("records.days_turned", n=meet)
    better = max(YEARS, key=lambda by: (_share(days + by, span), -abs(by)))
    if _share(days + better, span) >= COVERS_SHIFTED > _share(days, span):
        way = "later" if better > 0 else "earlier"
        return better, message(f"records.days_{way}", n=abs(better))
    return 0, None


def _turned(days: Days) -> Days | None:
    """Return dates with day and month the other way round; None where one would not exist."""
    dates = pd.to_datetime(days, unit="D")
    if (dates.day > LAST_MONTH).any():
        return None
    turned = pd.to_datetime({"year": dates.year, "month": dates.day, "day": dates.month})
    return turned.to_numpy().astype("datetime64[D]").astype(np.int64)


def _kept_for_longer(rows: Days, span: Days) -> bool:
    """Say whether rows are on the days of the glucose at least half as close as outside them."""
    inside = int(((rows >= span[0]) & (rows <= span[-1])).sum())
    length = int(span[-1] - span[0]) + 1
    others = max(int(rows.max() - rows.min()) + 1 - length, 1)
    return inside / length >= 0.5 * (len(rows) - inside) / others


def _days(frame: pd.DataFrame) -> Days:
    return clock_of(frame).to_numpy().astype("datetime64[D]").astype(np.int64)


def _share(days: Days, readings: Days) -> float:
    """Return the share of the days with readings that are between the first and last of others."""
    return float(((readings >= days[0]) & (readings <= days[-1])).mean())


def iso_day(day: int) -> str:
    """Return the date of a day counted from 1970-01-01."""
    return str(np.datetime64(int(day), "D"))


MORNINGS = (1, 12)
FEWEST_ROWS = 15
ALL_DAY = ("glucose", "stress", "activity", "meals")
"""Streams in which something begins after noon within two weeks."""

GLANCE = 1000
"""Rows that are looked at first: among so many most streams have an afternoon."""

FEWEST_DATES, MOST_DATES = 3, 0.5
DAY_MIN = 1440
WIDE = 1 << 20
"""More minutes than an offset can have, on both sides of 0."""


def odd_clocks(streams: Mapping[str, pd.DataFrame], findings: Findings) -> None:
    """Ask about streams without a time in the afternoon, and about offsets that differ.

    Args:
        streams: as read, with instants and wall-clock times.
        findings: gets one question a stream and kind.
    """
    for name in ALL_DAY:
        if not _mornings(used_rows(streams[name].head(GLANCE))):
            continue
        frame = used_rows(streams[name])
        if len(frame) >= FEWEST_ROWS and _mornings(frame):
            findings.whole(Severity.QUESTION, "half_a_clock", frame, stream=name)
    others = {name: used_rows(frame) for name, frame in streams.items() if name != "glucose"}
    if all(frame.empty for frame in others.values()):
        return
    glucose = _offsets(used_rows(streams["glucose"]))
    for name, frame in others.items():
        _another_offset(name, frame, glucose, findings)


def _mornings(frame: pd.DataFrame) -> bool:
    hour = clock_of(frame).to_numpy("datetime64[h]").astype(np.int64) % 24
    return bool(((hour >= MORNINGS[0]) & (hour <= MORNINGS[1])).all())


def _offsets(frame: pd.DataFrame) -> dict[int, int]:
    """Return the commonest offset of each date, in minutes (of equals the smallest)."""
    clock = clock_of(frame).to_numpy("datetime64[m]").astype(np.int64)
    instant = frame["time" if "time" in frame.columns else "start"].to_numpy("datetime64[m]")
    keys, counts = np.unique(
        clock // DAY_MIN * WIDE + (clock - instant.astype(np.int64) + WIDE // 2), return_counts=True
    )
    dates, offsets = keys // WIDE, keys % WIDE - WIDE // 2
    commonest_last = np.lexsort((-offsets, counts))
    return dict(zip(dates[commonest_last].tolist(), offsets[commonest_last].tolist(), strict=True))


def _another_offset(
    name: str, frame: pd.DataFrame, glucose: Mapping[int, int], findings: Findings
) -> None:
    own = _offsets(frame)
    both = [date for date in own if date in glucose]
    apart = np.array([own[date] - glucose[date] for date in both])
    if len(both) < FEWEST_DATES or (apart != 0).mean() < MOST_DATES:
        return
    hours = float(np.median(apart[apart != 0])) / 60
    findings.whole(
        Severity.QUESTION,
        "offsets_apart",
        frame,
        told_as=f"offsets_apart_{'ahead' if hours > 0 else 'behind'}",
        count=int((apart != 0).sum()),
        stream=name,
        values={"hours": hours, "apart": abs(hours), "dates": len(both)},
    )


FEWEST, MOST = 3, 0.5
LENGTHS = {"sleep": (120.0, 960.0)}
"""Lengths in minutes that a record of a stream usually has."""

USUAL = (1.0, 360.0)
SWAP, NEXT_DAY = "swap", "next_day"
_INSTEAD = {SWAP: "records.columns_swapped", NEXT_DAY: "records.end_without_date", "": ""}


def ask_about_order(name: str, frame: pd.DataFrame, findings: Findings) -> None:
    """Ask about a stream with an end before the start in most rows of a file.

    Args:
        name: the stream.
        frame: its rows, those left out among them.
        findings: gets one question a file.
    """
    if "end" not in frame.columns or not (frame["left_out"] == BACKWARDS).any():
        return
    for _, rows in frame.groupby("file", sort=True):
        backwards = rows[rows["left_out"] == BACKWARDS]
        if len(backwards) < max(FEWEST, MOST * len(rows)):
            continue
        start, end = (backwards[each].to_numpy() for each in ("start", "end"))
        other = other_order((start - end) / np.timedelta64(1, "m"), name)
        findings.rows(
            Severity.QUESTION,
            "ends_before_begins",
            at=backwards,
            stream=name,
            column="end",
            values={"proposal": other, "rows": len(rows)},
            instead=_INSTEAD[other],
        )


def other_order(minutes: NDArray[np.float64], stream: str) -> str:
    """Return what would make records plausible that end before they begin.

    Args:
        minutes: from the end to the start of each, so above 0.
        stream: whose usual lengths are looked for.

    Returns:
        "swap" where most are of a usual length the other way round, "next_day" where they are
        with the end a day later, an empty text where neither holds of more than the other.
    """
    low, high = LENGTHS.get(stream, USUAL)
    swapped = float(((minutes >= low) & (minutes <= high)).mean())
    later = float(((DAY_MIN - minutes >= low) & (DAY_MIN - minutes <= high)).mean())
    if max(swapped, later) < MOST or swapped == later:
        return ""
    return SWAP if swapped > later else NEXT_DAY
