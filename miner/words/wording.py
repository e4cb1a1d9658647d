"""Dates and lists in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from miner.core.messages import MinerError

if TYPE_CHECKING:
    from miner.rulebook import RuleBook

from collections.abc import Sequence
from datetime import date
from itertools import pairwise
from shlex import quote

from miner.words.door import door_now, folder_now
from miner.words.safe import clean

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
DAYS = tuple(name[:3] for name in _WEEKDAYS)
WEEKDAYS = {name[:3].lower(): name for name in _WEEKDAYS}


def weekday(iso: str) -> str:
    """Return the three letters of the day of the week of an ISO date."""
    return DAYS[date.fromisoformat(iso[:10]).weekday()]


def day_and_month(iso: str, *, short: bool = False) -> str:
    """Return an ISO date as ``12 January`` or ``12 Jan``."""
    told = date.fromisoformat(iso[:10])
    name = MONTHS[told.month - 1]
    return f"{told.day} {name[:3] if short else name}"


def day_words(iso: str) -> str:
    """Return a date as a person says it: Monday 12 January."""
    return f"{_WEEKDAYS[date.fromisoformat(iso).weekday()]} {day_and_month(iso)}"


def full_date(iso: str) -> str:
    """Return an ISO date as ``12 January 2026``; what is none, as it stands.

    An entry of the ledger that was changed by hand may hold anything in its place.
    """
    try:
        return f"{day_and_month(iso)} {iso[:4]}"
    except ValueError:
        return clean(iso[:10], 20)


def dated(day: str | None) -> str:
    """Return an ISO date as people write it: ``12 Jan 2026``, the whole month on a page.

    What is not a date stays as it is: an entry of the ledger may have been changed by hand.
    """
    if not day or door_now():
        return full_date(day) if day else str(day)
    try:
        return f"{day_and_month(day, short=True)} {day[:4]}"
    except ValueError:
        return clean(day[:10], 20)


def span_words(first: str, last: str, *, short: bool = True) -> str:
    """Return two ISO dates as ``12 Jan to 23 Feb 2026``, the year twice where it changes.

    Args:
        first: first day.
        last: last day.
        short: three letters of each month; a client reads its whole name.
    """
    begin = day_and_month(first, short=short)
    if first[:4] != last[:4]:
        begin = f"{begin} {first[:4]}"
    elif first[:7] == last[:7]:
        begin = str(int(first[8:10]))
    return f"{begin} to {day_and_month(last, short=short)} {last[:4]}"


def some_days(days: Sequence[str], most: int = 5) -> str:
    """Return ISO dates in order as ``10, 11 Jan, 3 Feb``, the last ones and how many more."""
    shown = days[-most:]
    more = len(days) - len(shown)
    return _in_months(shown) + (f" and {more} more" if more else "")


def first_days(days: Sequence[str], most: int) -> str:
    """Return ISO dates as :func:`some_days` does, the first ones and how many more."""
    more = len(days) - most
    return _in_months(days[:most]) + (f" and {more} more" if more > 0 else "")


def _in_months(days: Sequence[str]) -> str:
    words = [
        str(int(day[8:10])) if later[:7] == day[:7] else day_and_month(day, short=True)
        for day, later in pairwise([*days, ""])
    ]
    return ", ".join(words)


def day_name(iso: str) -> str:
    """Return an ISO date as ``Mon 12 January``."""
    return f"{weekday(iso)} {day_and_month(iso)}"


def capital(text: str) -> str:
    """Return the text with a first capital letter."""
    return text[:1].upper() + text[1:]


def uncapital(text: str) -> str:
    """Return the text with a first small letter, to stand in a sentence."""
    return text[:1].lower() + text[1:]


def listed(items: list[str], last: str = "and") -> str:
    """Return ``a, b and c``."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def few(names: Sequence[str], most: int, *, last: bool = False) -> str:
    """Return the first names, or the last ones, and how many more there are."""
    more = len(names) - most
    shown = ", ".join(names[-most:] if last else names[:most])
    return shown if more <= 0 else f"{shown} and {more} more"


def unit_name(unit: str) -> str:
    """Return the name of a day or a meal: its ISO date or start; on a page without the T."""
    return unit.replace("T", " ") if door_now() == "page" else unit


def say(rules: RuleBook, table: str, key: str, **values: object) -> str:
    """Return a sentence of ``wording.toml`` with its braces filled in.

    Raises:
        MinerError: the book does not have it, or asks for something that is not known.
    """
    try:
        return str(rules.wording[table][key]).format(**{"folder": quote(folder_now()), **values})
    except (KeyError, TypeError, IndexError, ValueError) as error:
        raise MinerError(
            "words.no_sentence",
            file="wording.toml",
            table=table,
            key=key,
            why=str(error),
            known=list(values) or ["none"],
        ) from error


def client_always(rules: RuleBook, call: str = "", days: str = "days") -> list[str]:
    """Return what every client is reminded of.

    Args:
        rules: the rule books.
        call: when to call a doctor; without it, at no number.
        days: how long the record is, in words; without a record no number is given.
    """
    said = [text.replace("{days}", days) for text in rules.cautions.client_always]
    return [call or say(rules, "home", "call_calm"), *said]
