"""What stands where a time should: told to a person, never read as one."""

from __future__ import annotations

import re

_CLOCK = re.compile(r"\d{1,2}[:.]\d{2}([:.]\d{2})?( ?[ap]\.?m\.?)?", re.IGNORECASE)
_NUMBER = re.compile(r"\d+(\.\d+)?")
_SPREADSHEET = (20_000, 80_000)
_SECONDS = (10**8, 10**10)


def hint(written: str) -> str:
    """Return what a text that is no time seems to be and what to do, or an empty text."""
    if _CLOCK.fullmatch(written):
        return (
            "It seems to be a time of day without its date: put the date and the time into one "
            "column."
        )
    if not _NUMBER.fullmatch(written) or len(written) > 30:
        return ""
    number = float(written)
    if _SPREADSHEET[0] <= number <= _SPREADSHEET[1]:
        return (
            "It seems to be a spreadsheet's number for a date. Show that column as date and time "
            "in the spreadsheet, then save it again."
        )
    if _SECONDS[0] <= number <= _SECONDS[1] * 1000:
        unit, key = ("seconds", "s") if number <= _SECONDS[1] else ("milliseconds", "ms")
        return (
            f"It seems to count {unit} since 1970: give the column the unit 'epoch_{key}' under "
            "[source.units] in sources.toml."
        )
    return ""
