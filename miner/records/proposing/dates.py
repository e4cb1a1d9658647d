"""How times are written in a column: ISO 8601, or one format that fits the whole column."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from miner.errors import several
from miner.records.table_file import Text
from miner.records.times import read_times

_ISO = re.compile(
    r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:[.,]\d+)?)?(?: ?(?:[Zz]|[+-]\d\d(?::?\d\d)?))?)?"
)
_NUMBERS = re.compile(
    r"^(?P<a>\d{1,4})(?P<s>[./-])(?P<b>\d{1,2})(?P=s)(?P<c>\d{2}|\d{4})"
    r"(?P<time>[ T,]+\d{1,2}[:.]\d\d.*)?$"
)
_NAMED = re.compile(
    r"^(?:\d{1,2}(?P<s>[ -])[A-Za-z]{3,9}\.?(?P=s)\d{2,4}|[A-Za-z]{3,9} \d{1,2}, \d{4})"
    r"(?P<time>[ T,]+\d{1,2}[:.]\d\d.*)?$"
)
_COMPACT = re.compile(r"20\d{6}(?P<t>[T ]?)\d{4}(?P<seconds>\d\d)?")
_CLOCK = re.compile(
    r"^(?P<gap>[ T,]+)\d{1,2}(?P<s>[:.])\d\d(?P<sec>(?P=s)\d\d)?(?P<frac>[.,]\d+)?"
    r"(?P<half>(?P<halfgap> ?)[AaPp]\.?[Mm]\.?)?(?P<offset>(?P<offgap> ?)(?:[Zz]|[+-]\d\d:?\d\d))?$"
)
_MOST_BAD = 0.05
_LIKELY_YEARS = (10, 45)


@dataclass(frozen=True, slots=True)
class Written:
    """How a column of times is written.

    Attributes:
        formats: the formats that fit; None among them stands for ISO 8601. More than one: it
            cannot be decided.
        dates_only: there is no time of day in it.
        offset: there is an offset from UTC in it.
        reason: why these.
    """

    formats: tuple[str | None, ...]
    dates_only: bool
    offset: bool
    reason: str


def how_written(column: Text) -> Written | None:
    """Return how the times of a column are written, or None where it does not hold times.

    Args:
        column: the whole column as text, a blank cell as an empty text.
    """
    cells = pd.Series(column[column != ""].unique(), dtype="str")
    if cells.empty:
        return None
    first = str(cells.iloc[0])
    if _share(cells, _ISO) >= 1 - _MOST_BAD:
        timed, zoned = bool(cells.str.contains(":").mean() > 0.5), _offset(cells)
        return Written((None,), not timed, zoned, f"written as ISO 8601 ('{first}')")
    if _share(cells, _NUMBERS) >= 1 - _MOST_BAD:
        return _numbers(cells)
    if _share(cells, _NAMED) >= 1 - _MOST_BAD:
        return _named(cells)
    if _share(cells, _COMPACT) >= 1 - _MOST_BAD:
        found = _COMPACT.fullmatch(str(cells[cells.str.fullmatch(_COMPACT)].iloc[0]))
        seconds = "%S" if found and found["seconds"] else ""
        form = f"%Y%m%d{found['t'] if found else ''}%H%M{seconds}"
        return Written((form,), False, False, f"year first, without signs between ('{first}')")
    return None


def fits(cells: Text, form: str | None) -> float:
    """Return the share of cells that a format reads, from 0 to 1."""
    try:
        return 1 - float(read_times(cells, form, None).bad.mean())
    except ValueError:
        return 0.0


def _share(cells: Text, pattern: re.Pattern[str]) -> float:
    return float(cells.str.fullmatch(pattern).mean())


def _offset(cells: Text) -> bool:
    return bool(cells.str.contains(r"(?:[Zz]|:\d\d ?[+-]\d\d:?\d\d)$", regex=True).mean() > 0.5)


def _numbers(cells: Text) -> Written | None:
    parts = cells.str.extract(_NUMBERS).dropna(subset=["a", "b", "c"])
    sign = str(parts["s"].mode().iloc[0])
    clock = _clock_format(parts["time"])
    if clock is None:
        return None
    a, b, c = (parts[name].astype("int64") for name in "abc")
    if (parts["a"].str.len() == 4).mean() > 0.5:
        return _year_first(cells, b, c, sign, clock)
    year = "%Y" if (parts["c"].str.len() == 4).mean() > 0.5 else "%y"
    day_first, month_first = f"%d{sign}%m{sign}{year}{clock}", f"%m{sign}%d{sign}{year}{clock}"
    over_a, over_b = int((a > 12).sum()), int((b > 12).sum())
    dates_only, offset = clock == "", "%z" in clock
    if year == "%y" and a.between(*_LIKELY_YEARS).all() and (b <= 12).all():
        options = (f"%y{sign}%m{sign}%d{clock}", day_first, month_first)
        fitting = tuple(form for form in options if fits(cells, form) >= 1 - _MOST_BAD)
        if len(fitting) > 1:
            told = "two-digit years: the first or the last number may be the year"
            return Written(fitting, dates_only, offset, told)
        if fitting:
            return Written(fitting, dates_only, offset, "only the first number can be the year")
    if over_a and not over_b:
        shown = cells.loc[a.index[a > 12]].iloc[0]
        told = f"day first: in {several(over_a, 'cell')} the first number is above 12 ('{shown}')"
        return Written((day_first,), dates_only, offset, told)
    if over_b and not over_a:
        shown = cells.loc[b.index[b > 12]].iloc[0]
        told = (
            f"month first: in {several(over_b, 'cell')} the second number is above 12 ('{shown}')"
        )
        return Written((month_first,), dates_only, offset, told)
    both = "both orders stand in it" if over_a else "no day above 12 stands in it"
    told = f"{both}, so day first and month first cannot be told apart"
    return Written((day_first, month_first), dates_only, offset, told)


def _year_first(
    cells: Text, b: pd.Series[int], c: pd.Series[int], sign: str, clock: str
) -> Written:
    odd = bool((b > 12).any()) and not bool((c > 12).any())
    form = f"%Y{sign}%d{sign}%m{clock}" if odd else f"%Y{sign}%m{sign}%d{clock}"
    told = f"year first ('{cells.iloc[0]}')"
    return Written((form,), clock == "", "%z" in clock, told)


def _named(cells: Text) -> Written | None:
    clock = _clock_format(cells.str.extract(_NAMED)["time"])
    if clock is None:
        return None
    dates = [
        f"%d{sign}{month}{sign}{year}"
        for sign in " -"
        for month in ("%b", "%B")
        for year in ("%Y", "%y")
    ]
    dates += ["%b %d, %Y", "%B %d, %Y"]
    fitting = [date + clock for date in dates if fits(cells, date + clock) >= 1 - _MOST_BAD]
    if not fitting:
        return None
    told = f"months by name ('{cells.iloc[0]}')"
    return Written((fitting[0],), clock == "", "%z" in clock, told)


def _clock_format(times: pd.Series[str]) -> str | None:
    """Return the directives of the commonest time of day; empty where there is none."""
    known = times.dropna()
    if len(known) < len(times) / 2:
        return ""
    parts = known.str.extract(_CLOCK)
    if float(known.str.fullmatch(_CLOCK).mean()) < 1 - _MOST_BAD:
        return None
    usual = parts.notna().mean() > 0.5
    gap, sign = str(parts["gap"].mode().iloc[0]), str(parts["s"].mode().iloc[0])
    hour = "%I" if usual["half"] else "%H"
    text = f"{gap}{hour}{sign}%M" + (f"{sign}%S" if usual["sec"] else "")
    if usual["frac"]:
        text += f"{parts['frac'].dropna().iloc[0][0]}%f"
    if usual["half"]:
        text += f"{parts['halfgap'].mode().iloc[0]}%p"
    if usual["offset"]:
        text += f"{parts['offgap'].mode().iloc[0]}%z"
    return text
