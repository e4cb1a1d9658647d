"""Streams whose days hardly meet those of the glucose: reported, with what would help."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Message, message
from miner.core.results import Severity
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
        if would or apart or not _kept_for_longer(rows, span):
            _ask(name, frame, span, findings, would, shift)
        else:
            _tell_longer(name, frame, outside, span, findings)


def _what_would_help(days: Days, span: Days) -> tuple[int, Message | None]:
    """Return the days by which to move a stream so that it meets the glucose, and what is told."""
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
    dates = days.astype("datetime64[D]")
    months = dates.astype("datetime64[M]")
    day = (dates - months.astype("datetime64[D]")).astype(int) + 1
    if (day > LAST_MONTH).any():
        return None
    years = months.astype("datetime64[Y]")
    month = (months - years.astype("datetime64[M]")).astype(int) + 1
    turned = (years.astype("datetime64[M]") + (day - 1)).astype("datetime64[D]") + (month - 1)
    return np.asarray(turned.astype(np.int64))


def _kept_for_longer(rows: Days, span: Days) -> bool:
    """Say whether rows stand on the days of the glucose at least half as close as outside them."""
    inside = int(((rows >= span[0]) & (rows <= span[-1])).sum())
    length = int(span[-1] - span[0]) + 1
    others = max(int(rows.max() - rows.min()) + 1 - length, 1)
    return inside / length >= 0.5 * (len(rows) - inside) / others


def _ask(
    name: str,
    frame: pd.DataFrame,
    span: Days,
    findings: Findings,
    would: Message | None,
    shift: int,
) -> None:
    days = np.unique(_days(frame))
    inside = np.isin(days, span)
    findings.add(
        Severity.QUESTION,
        "days_apart",
        file=str(frame["file"].iloc[0]),
        count=int((~inside).sum()),
        stream=name,
        gain_days=len(span) - int(np.isin(span, days).sum()),
        values={
            "common_days": int(inside.sum()),
            "shift_days": shift,
            "begins": iso_day(days[0]),
            "ends": iso_day(days[-1]),
            "first": iso_day(span[0]),
            "last": iso_day(span[-1]),
            "would": would or "",
        },
    )


def _tell_longer(
    name: str, frame: pd.DataFrame, outside: NDArray[np.bool_], span: Days, findings: Findings
) -> None:
    findings.add(
        Severity.NOTE,
        "rows_outside",
        file=str(frame["file"].iloc[0]),
        count=int(outside.sum()),
        stream=name,
        values={"rows": len(frame), "first": iso_day(span[0]), "last": iso_day(span[-1])},
    )


def _days(frame: pd.DataFrame) -> Days:
    clock = frame["clock" if "clock" in frame.columns else "start_clock"]
    return clock.to_numpy().astype("datetime64[D]").astype(np.int64)


def _share(days: Days, readings: Days) -> float:
    """Return the share of the days with readings that lie between the first and last of others."""
    return float(((readings >= days[0]) & (readings <= days[-1])).mean())


def iso_day(day: int) -> str:
    """Return the date of a day counted from 1970-01-01."""
    return str(np.datetime64(int(day), "D"))
