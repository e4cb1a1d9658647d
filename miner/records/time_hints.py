"""What stands where a time should: told to a person, never read as one."""

from __future__ import annotations

import re

from miner.core.messages import Message, message

_CLOCK = re.compile(r"\d{1,2}[:.]\d{2}([:.]\d{2})?( ?[ap]\.?m\.?)?", re.IGNORECASE)
_NUMBER = re.compile(r"\d+(\.\d+)?")
_SPREADSHEET = (20_000, 80_000)
_SECONDS = (10**8, 10**10)


def hint(written: str) -> Message | None:
    """Return what a text that is no time seems to be and what to do, or None."""
    if _CLOCK.fullmatch(written):
        return message("records.seems_a_time_of_day")
    if not _NUMBER.fullmatch(written) or len(written) > 30:
        return None
    number = float(written)
    if _SPREADSHEET[0] <= number <= _SPREADSHEET[1]:
        return message("records.seems_a_number_of_days")
    if _SECONDS[0] <= number <= _SECONDS[1] * 1000:
        unit, key = ("seconds", "s") if number <= _SECONDS[1] else ("milliseconds", "ms")
        return message("records.seems_since_1970", unit=unit, key=key)
    return None
