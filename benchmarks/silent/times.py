"""Times that are spelt otherwise, moved, or lose a part."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from benchmarks.silent.files import File
from benchmarks.silent.way import (
    EVERY,
    TIME,
    Rng,
    moved,
    way,
)


def respelt(file: File, form: str) -> File:
    """Write the times in another form."""
    return file.copy(style=replace(file.style, spell=lambda moment: moment.strftime(form)))


@way("day and month change places", EVERY, TIME)
def _day_month(file: File, _: Rng) -> File | None:
    sample = file.style.spell(datetime(2026, 1, 2, 3, 4))
    if sample.startswith("02/01"):
        return respelt(file, "%m/%d/%Y %H:%M")
    if sample.startswith("01/02"):
        return respelt(file, "%d/%m/%Y %I:%M %p")
    return respelt(file, "%Y-%d-%mT%H:%M") if sample.startswith("2026-01") else None


@way(
    "a 12-hour clock without morning and evening",
    "glucose sleep activity meals stress",
    TIME + "|asleep|order|minute",
)
def _half_clock(file: File, _: Rng) -> File | None:
    if len(file.rows) < MANY:
        return None
    return _without_half(file)


@way(
    "a 12-hour clock of a few notes",
    "tags stress",
    TIME,
    "a few notes may all be of the morning",
)
def _half_clock_of_few(file: File, _: Rng) -> File | None:
    return None if len(file.rows) >= MANY else _without_half(file)


def _without_half(file: File) -> File | None:
    sample = file.style.spell(datetime(2026, 1, 2, 3, 4))
    if sample.startswith("02/01"):
        return respelt(file, "%d/%m/%Y %I:%M")
    if sample.startswith("2026-01"):
        return respelt(file, "%Y-%m-%dT%I:%M")
    return respelt(file, "%m/%d/%Y %I:%M") if sample.startswith("01/02") else None


@way("serial numbers of a spreadsheet for dates", EVERY, TIME)
def _serial(file: File, _: Rng) -> File | None:
    first = datetime(1899, 12, 30)

    def spell(moment: datetime) -> str:
        return f"{(moment - first) / timedelta(days=1):.6f}"

    return file.copy(style=replace(file.style, spell=spell))


@way("seconds since 1970 for dates", EVERY, TIME)
def _epoch(file: File, _: Rng) -> File | None:
    return _since_1970(file, 1)


@way("milliseconds since 1970 for dates", EVERY, TIME)
def _epoch_ms(file: File, _: Rng) -> File | None:
    return _since_1970(file, 1000)


def _since_1970(file: File, factor: int) -> File:
    def spell(moment: datetime) -> str:
        return str(int((moment - datetime(1970, 1, 1)) / timedelta(seconds=1)) * factor)

    return file.copy(style=replace(file.style, spell=spell))


@way("years of two digits", EVERY, TIME)
def _two_digits(file: File, _: Rng) -> File | None:
    spell = file.style.spell
    return file.copy(
        style=replace(file.style, spell=lambda moment: spell(moment).replace("2026", "26"))
    )


@way("times of day are lost", EVERY, TIME)
def _dates_only(file: File, _: Rng) -> File | None:
    spell, cut = file.style.spell, {"2": 10, "0": 10}
    sample = spell(datetime(2026, 1, 2, 3, 4))
    size = cut.get(sample[0], 10) if "Jan" not in sample else 11
    return file.copy(style=replace(file.style, spell=lambda moment: spell(moment)[:size]))


@way("dates are lost", EVERY, TIME)
def _times_only(file: File, _: Rng) -> File | None:
    return respelt(file, "%H:%M")


@way("minutes are lost: every time on the hour", "glucose", TIME + "|minute")
def _on_the_hour(file: File, _: Rng) -> File | None:
    new = file.copy()
    for row in new.rows:
        row[0] = row[0].replace(minute=0)  # type: ignore[union-attr]
    return new


@way("offsets in a form of their own", EVERY, TIME)
def _odd_offset(file: File, rng: Rng) -> File | None:
    if "+00:00" not in file.style.spell(datetime(2026, 1, 2, 3, 4)):
        return None
    zone = ZoneInfo("America/New_York")
    form = [" -05", "-5", " -5:00", "-05:00"][int(rng.integers(4))]

    def spell(moment: datetime) -> str:
        away = moment.replace(tzinfo=ZoneInfo("Europe/Lisbon")).astimezone(zone)
        return away.strftime("%Y-%m-%dT%H:%M:%S") + form

    return file.copy(style=replace(file.style, spell=spell))


@way("the zone by its letters", EVERY, TIME)
def _letters(file: File, _: Rng) -> File | None:
    spell = file.style.spell
    return file.copy(style=replace(file.style, spell=lambda moment: spell(moment) + " CET"))


MANY = 15
AWAY = r"shift|hour|clock|asleep|overlap|zone|agree|time"


@way("the file in UTC, its offset lost: sleep", "sleep", AWAY)
def _sleep_in_utc(file: File, rng: Rng) -> File | None:
    return moved(file, timedelta(hours=int(rng.choice([-7, -5, -4, -3, 3, 5, 8]))))


@way("the file in UTC, its offset lost: movement", "activity", AWAY)
def _movement_in_utc(file: File, rng: Rng) -> File | None:
    return moved(file, timedelta(hours=int(rng.choice([-7, -5, -4, 5, 8]))))


@way("meals half a day late", "meals", AWAY)
def _meals_late(file: File, _: Rng) -> File | None:
    return moved(file, timedelta(hours=12))


@way(
    "readings an hour late",
    "glucose",
    AWAY,
    "readings alone hold no clock: meals an hour off are ordinary",
)
def _glucose_late(file: File, _: Rng) -> File | None:
    return moved(file, timedelta(hours=1))


@way("sleep an hour late", "sleep", AWAY, "an hour of quiet in bed is ordinary")
def _sleep_an_hour(file: File, _: Rng) -> File | None:
    return moved(file, timedelta(hours=1))


@way("tags an hour late", "tags stress", AWAY, "nothing else tells when somebody wrote a word")
def _tags_late(file: File, _: Rng) -> File | None:
    return moved(file, timedelta(hours=1))


@way("a file a year off", "sleep stress activity meals tags", TIME + "|overlap")
def _year_off(file: File, rng: Rng) -> File | None:
    return moved(file, timedelta(days=365 * int(rng.choice([-1, 1]))))


@way("a few rows a year off", "sleep stress meals activity", TIME + "|overlap|far")
def _rows_year_off(file: File, rng: Rng) -> File | None:
    few = 3 if len(file.rows) > 10 else 1
    begin = int(rng.integers(0, len(file.rows) - few))
    return moved(file, timedelta(days=365), slice(begin, begin + few))


@way(
    "a file a week off",
    "sleep stress activity meals tags",
    TIME,
    "weeks look alike: the last days only look unlogged",
)
def _week_off(file: File, _: Rng) -> File | None:
    return moved(file, timedelta(days=7))
