"""Sleep compared with its own night: impossible values are left out, odd ones are asked about.

A value that is left out becomes unknown; the night itself stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity
from miner.records.text_columns import Mask, blank

if TYPE_CHECKING:
    from miner.records.findings import Findings

STAGES = ("deep_min", "rem_min", "light_min")
MINUTES = ("asleep_min", *STAGES, "awake_min")
SLACK_MIN, SLACK_SHARE = 5.0, 0.02
APART_MIN, APART_SHARE = 15.0, 0.05
FEWEST, MOST_ROWS, RULE = 7, 0.5, 0.8
SHORTEST_MIN, LONG_NIGHT_MIN, LONGEST_MIN = 60.0, 180.0, 16 * 60.0
HOURS_BELOW, PERCENT = 0.06, (95.0, 105.0)
USUAL_SHARE, CUT_SHARE = 0.7, 0.2
TOO_LONG_ASLEEP, TOO_SHORT_ASLEEP = "over_16_hours", "under_an_hour"
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Nights:
    """The nights that are used, as arrays of minutes; NaN where not known."""

    frame: pd.DataFrame
    rows: pd.DataFrame
    in_bed: Floats
    asleep: Floats
    stages: Floats
    awake: Floats

    @classmethod
    def of(cls, frame: pd.DataFrame) -> _Nights:
        rows = frame[blank(frame["left_out"])]
        in_bed = (rows["end"].to_numpy() - rows["start"].to_numpy()) / np.timedelta64(1, "m")
        asleep, awake = (rows[name].to_numpy(np.float64) for name in ("asleep_min", "awake_min"))
        stages = np.sum([rows[name].to_numpy(np.float64) for name in STAGES], axis=0)
        return cls(frame, rows, in_bed, asleep, stages, awake)


def plausible_sleep(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """Return the sleep without what cannot be true of a night; what was left out is reported.

    In this order: nights of more than 16 hours; sleeps that are nearly all under an hour; minutes
    that read like hours or like percent; more asleep, or more in the stages, than the time from
    start to end; time asleep that is a fifth of the night or less where this client's is usually
    seven tenths; stages that do not add up to the time asleep, and time asleep and awake that do
    not add up to the night, where they do in the other nights. Common practice, no source.

    Args:
        frame: the stream, with ``left_out`` filled in.
        findings: gets what is left out or asked about.
    """
    if frame.empty or not blank(frame["left_out"]).any():
        return frame
    frame = frame.copy()
    looks = (_too_long, _too_short, _other_unit, _beyond_bed, _cut_off)
    for look in (*looks, _parts_of_sleep, _parts_of_night):
        look(_Nights.of(frame), findings)
    return frame


def _too_long(nights: _Nights, findings: Findings) -> None:
    long = nights.in_bed > LONGEST_MIN
    if not long.any():
        return
    shown = [f"{minutes / 60:.1f} hours" for minutes in nights.in_bed[long]]
    at = nights.rows[long]
    findings.rows(Severity.QUESTION, "sleep_too_long", at=at, shown=shown, stream="sleep")
    nights.frame.loc[nights.rows.index[long], "left_out"] = TOO_LONG_ASLEEP


def _too_short(nights: _Nights, findings: Findings) -> None:
    """Leave out sleeps that nearly all last under an hour: the length is in another unit."""
    of = (nights.rows["kind"] != "nap").to_numpy()
    if not _mostly(nights.in_bed < SHORTEST_MIN, of):
        return
    short = of & (nights.in_bed < SHORTEST_MIN)
    shown = [f"{minutes:.0f} minutes" for minutes in nights.in_bed[short]]
    about = {"stream": "sleep", "column": "end"}
    at = nights.rows[short]
    findings.rows(Severity.QUESTION, "sleep_too_short", at=at, shown=shown, **about)
    nights.frame.loc[nights.rows.index[short], "left_out"] = TOO_SHORT_ASLEEP


def _other_unit(nights: _Nights, findings: Findings) -> None:
    """Leave out minutes that are hours, or percent of the night, in nearly every row."""
    long = nights.in_bed >= LONG_NIGHT_MIN
    hours: list[str] = []
    if _mostly(nights.asleep < HOURS_BELOW * nights.in_bed, long & (nights.asleep > 0)):
        hours.append("asleep_min")
    if _mostly(nights.stages < HOURS_BELOW * nights.in_bed, long & (nights.stages > 0)):
        hours += STAGES
    if hours:
        awake = nights.awake[long & ~np.isnan(nights.awake)]
        hours += ["awake_min"] if awake.size and awake.max() < 24 else []
        _ask_unit(nights, hours, "h", findings)
        return
    percent = (nights.stages >= PERCENT[0]) & (nights.stages <= PERCENT[1])
    if _mostly(percent, long & (nights.stages > 0)):
        _ask_unit(nights, list(STAGES), "%", findings)


def _ask_unit(nights: _Nights, names: list[str], unit: str, findings: Findings) -> None:
    frame, rows = nights.frame, nights.rows
    names = [name for name in names if frame[name].notna().any()]
    first = rows[rows[names[0]].notna()].iloc[0]
    bed = (first["end"] - first["start"]) / pd.Timedelta(minutes=1)
    findings.whole(
        Severity.QUESTION,
        "sleep_unit",
        rows,
        file=str(first["file"]),
        row=int(first["row"]),
        stream="sleep",
        column=names[0],
        days=_days(rows),
        values={"names": names, "first": names[0], "shown": first[names[0]], "bed": bed},
        told_as="" if unit == "h" else "sleep_in_percent",
    )
    frame[names] = np.nan


def _beyond_bed(nights: _Nights, findings: Findings) -> None:
    most = nights.in_bed + SLACK_MIN + SLACK_SHARE * nights.in_bed
    stages = nights.stages > most
    asleep = (nights.asleep > most) | (stages & (nights.stages == nights.asleep))
    shown, names = np.fmax(nights.asleep, nights.stages), ["asleep_min", *STAGES]
    _leave_out(
        nights, asleep | stages, names, findings, "asleep_beyond_bed", (shown, nights.in_bed)
    )


def _cut_off(nights: _Nights, findings: Findings) -> None:
    share = nights.asleep / np.maximum(nights.in_bed, 1)
    known = share[~np.isnan(share)]
    if known.size < FEWEST or float(np.median(known)) < USUAL_SHARE:
        return
    cut = (share <= CUT_SHARE) & (nights.in_bed >= LONG_NIGHT_MIN)
    shown, names = (nights.asleep, nights.in_bed), ["asleep_min", *STAGES]
    _leave_out(nights, cut, names, findings, "asleep_cut_off", shown)


def _parts_of_sleep(nights: _Nights, findings: Findings) -> None:
    above = nights.stages - nights.asleep > APART_MIN + APART_SHARE * nights.asleep
    below = _off_the_rule(nights.asleep, nights.stages) & ~above
    for mask, names in ((above, ["asleep_min", *STAGES]), (below, list(STAGES))):
        shown = (nights.stages, nights.asleep)
        _leave_out(nights, mask, names, findings, "stages_not_asleep", shown)


def _parts_of_night(nights: _Nights, findings: Findings) -> None:
    both = nights.asleep + nights.awake
    over = both > nights.in_bed + SLACK_MIN + SLACK_SHARE * nights.in_bed
    whole = np.abs(nights.asleep - nights.in_bed) <= SLACK_MIN + SLACK_SHARE * nights.in_bed
    if _mostly(whole, ~np.isnan(both) & (nights.awake > SLACK_MIN)):
        about = {"stream": "sleep", "column": "end", "days": _days(nights.rows)}
        values = {"awake": float(np.nanmedian(nights.awake))}
        findings.whole(
            Severity.QUESTION, "length_without_awake", nights.rows, **about, values=values
        )
        return
    mask, names = over | _off_the_rule(nights.in_bed, both), ["asleep_min", *STAGES, "awake_min"]
    _leave_out(nights, mask, names, findings, "asleep_and_awake", (both, nights.in_bed))


def _off_the_rule(total: Floats, parts: Floats) -> Mask:
    """Say where parts do not add up to a total though they do in eight of ten nights."""
    known = ~np.isnan(total) & ~np.isnan(parts)
    apart = np.abs(total - parts)
    close = apart <= SLACK_MIN + SLACK_SHARE * total
    if known.sum() < FEWEST or close[known].mean() < RULE:
        return np.zeros(len(total), dtype=np.bool_)
    return np.asarray(apart > APART_MIN + APART_SHARE * total, dtype=np.bool_)


def _mostly(true: Mask, of: Mask) -> bool:
    """Say whether something is true in nine of ten rows, of at least three."""
    return bool(of.sum() >= 3 and true[of].mean() >= 0.9)


def _leave_out(
    nights: _Nights,
    mask: Mask,
    names: list[str],
    findings: Findings,
    code: str,
    shown: tuple[Floats, Floats],
) -> None:
    """Make values unknown and report them: a question where it is half of the nights or more.

    Args:
        nights: every night.
        mask: those it is about.
        names: the columns that become unknown.
        findings: gets the report.
        code: of the finding.
        shown: of each night so many minutes, of so many.
    """
    if not mask.any():
        return
    many = mask.sum() >= max(3, MOST_ROWS * len(mask))
    findings.rows(
        Severity.QUESTION if many else Severity.LEFT_OUT,
        code,
        at=nights.rows[mask],
        shown=[
            " of ".join((f"{value:.0f}", f"{whole:.0f} min"))
            for value, whole in zip(shown[0][mask], shown[1][mask], strict=True)
        ],
        stream="sleep",
        column=names[0],
        instead="records.see_what_columns_mean" if many else "",
    )
    nights.frame.loc[nights.rows.index[mask], names] = np.nan


def _days(rows: pd.DataFrame) -> tuple[str, ...]:
    return tuple(sorted(set(rows["end_clock"].dt.strftime("%Y-%m-%d"))))
