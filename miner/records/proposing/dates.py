"""How times are written in a column: ISO 8601, a count since 1970, or formats that fit it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.records.columns import EPOCHS
from miner.records.text_columns import Text
from miner.records.times import read_times

Stamps = NDArray[np.datetime64]
_CELL = re.compile(
    r"(?P<date>(?P<first>\d{1,4})(?P<s>[./-])\d{1,2}(?P=s)(?P<last>\d{4}|\d\d)"
    r"|\d{1,2}(?P<n>[\x20-])[A-Za-z]{3,9}\.?(?P=n)\d{2,4}|[A-Za-z]{3,9}\x20\d{1,2},\x20\d{4}"
    r"|20\d{6}(?=\d{4}(?:\d\d)?$))"
    r"(?:(?P<gap>[\x20T,]*)\d{1,2}(?P<c>[:.]?)\d\d(?P<sec>(?P=c)\d\d)?(?P<frac>[.,]\d+)?"
    r"(?P<half>(?P<halfgap>\x20?)[AaPp]\.?[Mm]\.?)?"
    r"(?P<offset>(?P<offgap>\x20?)(?:[Zz]|[+-]\d\d:?\d\d))?)?"
)
_NAMED = ("%d{0}%b{0}%Y", "%d{0}%B{0}%Y", "%d{0}%b{0}%y", "%d{0}%B{0}%y", "%b %d, %Y", "%B %d, %Y")
_SINCE = re.compile(r"\d{9,13}(?:\.\d+)?")
_COUNTS = (946_684_800, 2_524_608_000)
"""The years 2000 to 2050 as seconds since 1970."""
_LIKELY_YEARS = (10, 45)
_MOSTLY, _TYPING_ERRORS = 0.95, 20
"""One order of a date holds where the other fails more than so many times as often."""


@dataclass(frozen=True, slots=True)
class Form:
    """One way to read a column: directives (None: ISO 8601), the order, how many cells fail."""

    text: str | None
    order: str
    fails: int = 0


@dataclass(frozen=True, slots=True)
class Written:
    """How a column of times is written.

    Attributes:
        forms: the ways that fit; more than one: it cannot be decided.
        dates_only: there is no time of day in it.
        offset: there is an offset from UTC in it.
        code: why these.
        facts: the values of that.
        unit: epoch_s or epoch_ms where it counts from 1970, else empty.
    """

    forms: tuple[Form, ...]
    dates_only: bool
    offset: bool
    code: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    unit: str = ""


def how_written(column: Text, form: str | None = None) -> Written | None:
    """Return how the times of a column are written, or None where it does not hold times.

    Args:
        column: the whole column as text, a blank cell as an empty text.
        form: the directives that a person gives, or None.
    """
    cells = pd.Series(column[column != ""].unique(), dtype="str")
    if cells.empty:
        return None
    if form is not None and (~np.isnat(stamps_of(cells, form))).mean() > 1 - _MOSTLY:
        return Written(
            (Form(form, "given"),), not re.search("%[HIXcT]", form), "%z" in form, "given"
        )
    iso = read_times(cells, None, None)
    if (~iso.bad).mean() >= _MOSTLY:
        dates_only, offset = bool(iso.date_only.mean() > 0.5), bool(iso.own_offset.mean() > 0.5)
        return Written((Form(None, "year_first"),), dates_only, offset, "iso")
    if cells.str.fullmatch(_CELL).mean() >= _MOSTLY:
        return _by_format(cells)
    return _since_1970(cells) if cells.str.fullmatch(_SINCE).mean() >= _MOSTLY else None


def _since_1970(cells: Text) -> Written | None:
    counts = np.asarray(pd.to_numeric(cells, errors="coerce"), dtype=np.float64)
    for unit, to_a_second in EPOCHS.items():
        seconds = counts / to_a_second
        if ((seconds > _COUNTS[0]) & (seconds < _COUNTS[1])).mean() >= _MOSTLY:
            facts = {"shown": cells.iloc[0]}
            return Written((Form(None, unit),), False, False, "since_1970", facts, unit)
    return None


def _by_format(cells: Text) -> Written | None:
    parts = cells.str.extract(_CELL)
    clock = _clock_format(parts)
    orders = {f"{date}{clock}": order for date, order in _dates(parts).items()}
    fails = {form: np.isnat(stamps_of(cells, form)) for form in orders}
    if np.logical_and.reduce(list(fails.values())).mean() > 1 - _MOSTLY:
        return None
    least = min(int(each.sum()) for each in fails.values())
    fitting = [form for form in fails if fails[form].sum() <= least * _TYPING_ERRORS]
    kept = {orders[form]: form for form in reversed(fitting)}
    forms = tuple(Form(form, order, int(fails[form].sum())) for order, form in kept.items())[::-1]
    facts: dict[str, Any] = {"shown": cells.iloc[0]}
    if len(forms) == 1 and forms[0].order in ("day_first", "month_first"):
        others = [fails[form] for form in fails if form != forms[0].text]
        only = cells[np.logical_and.reduce([~fails[str(forms[0].text)], *others])]
        facts = {"count": len(only), "shown": next(iter(only), cells.iloc[0])}
    code = forms[0].order if len(forms) == 1 else "orders"
    return Written(forms, clock == "", "%z" in clock, code, facts)


def _dates(parts: pd.DataFrame) -> dict[str, str]:
    """Return the formats of the dates that the column may be written in, with their order."""
    numbers = parts.dropna(subset=["s"])
    if len(numbers) < len(parts) / 2:
        sign = next(iter(parts["n"].dropna().mode()), " ")
        if parts["date"].str.isdecimal().mean() > 0.5:
            return {"%Y%m%d": "year_first"}
        return {form.format(sign): "named" for form in _NAMED}
    s = numbers["s"].mode().iloc[0]
    if (numbers["first"].str.len() == 4).mean() > 0.5:
        return {f"%Y{s}%m{s}%d": "year_first", f"%Y{s}%d{s}%m": "year_first"}
    year = "%Y" if (numbers["last"].str.len() == 4).mean() > 0.5 else "%y"
    found = {f"%d{s}%m{s}{year}": "day_first", f"%m{s}%d{s}{year}": "month_first"}
    if year == "%y" and numbers["first"].astype("int64").between(*_LIKELY_YEARS).all():
        found[f"%y{s}%m{s}%d"] = "year_first"
    return found


def _clock_format(parts: pd.DataFrame) -> str:
    """Return the directives of the commonest time of day; empty where there is none."""
    known = parts[parts["gap"].notna()]
    if len(known) < len(parts) / 2:
        return ""
    usual = known.notna().mean() > 0.5
    gap, sign = (str(known[name].mode().iloc[0]) for name in ("gap", "c"))
    text = f"{gap}{'%I' if usual['half'] else '%H'}{sign}%M" + (f"{sign}%S" if usual["sec"] else "")
    if usual["frac"]:
        text += f"{known['frac'].dropna().iloc[0][0]}%f"
    if usual["half"]:
        text += f"{known['halfgap'].mode().iloc[0]}%p"
    return text + (f"{known['offgap'].mode().iloc[0]}%z" if usual["offset"] else "")


def stamps_of(cells: Text, form: str | None, unit: str = "") -> Stamps:
    """Return times as the clock shows them, NaT where they cannot be read so.

    Args:
        cells: the cells of a column.
        form: directives, or None for ISO 8601.
        unit: epoch_s or epoch_ms where they count from 1970.
    """
    try:
        return read_times(pd.Series(cells, dtype="str"), form, None, unit=unit or None).clock
    except ValueError:
        return np.full(len(cells), np.datetime64("NaT", "ns"))
