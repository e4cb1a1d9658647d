"""What the day table itself noticed, told in the same four parts as the reader's findings."""

from __future__ import annotations

from collections import Counter

from miner.errors import several
from miner.records.client import Client
from miner.results import Finding, Severity
from miner.rulebook import RuleBook
from miner.tables.biological_days import days_of
from miner.tables.log_noticed import log_noticed
from miner.tables.nights import LONGEST_WAKING_MIN, Nights, nights_of
from miner.tables.tag_days import FEWEST_DAYS, MOST_TAGS, Tags, tags_of
from miner.tables.trace import trace_of
from miner.tables.unit_table import UnitTable

SHOWN, TAGS_SHOWN = 5, 30
NOT_WORN = ("the tracker was", "no tracker record", "no step was counted")


def noticed(client: Client, table: UnitTable, rules: RuleBook) -> list[Finding]:
    """Return what is left out or read another way, and why: nights, wear, readings, zones, tags."""
    nights, trace = nights_of(client), trace_of(client)
    found = [
        _too_few_readings(table),
        *_nights(table, nights),
        _naps(nights),
        _time_in_bed(nights),
        _not_worn(table),
        *_journeys(client),
        *log_noticed(client, trace, nights),
        *_tags(tags_of(client, days_of(trace, nights), rules.cautions)),
    ]
    return [item for item in found if item is not None]


def _note(what: str, expected: str, do: str, count: int, severity: str = "note") -> Finding:
    return Finding(Severity(severity), None, None, what, expected, do, count)


def _listed(days: list[str]) -> str:
    more = f" and {len(days) - SHOWN} more" if len(days) > SHOWN else ""
    return ", ".join(days[:SHOWN]) + more


def _too_few_readings(table: UnitTable) -> Finding | None:
    frame = table.frame
    days = frame.index[frame["left_out"].str.startswith("readings cover")].tolist()
    if not days:
        return None
    return _note(
        f"{several(len(days), 'day')} with too few readings: {_listed(days)}",
        "readings for 70 % of the day",
        "Nothing can be repaired; keep the sensor read more often.",
        len(days),
        "left_out",
    )


def _nights(table: UnitTable, nights: Nights) -> list[Finding | None]:
    if not nights.recorded:
        return [
            _note(
                "there is no main sleep in these records. A day runs from 04:00 to 04:00, the "
                "overnight mean from 00:00 to 06:00. Wake glucose is not known",
                "a sleep record for each night",
                "Add the tracker's sleep export.",
                1,
            )
        ]
    numbers = table.frame["day_number"].items()
    missing = [str(day) for day, number in numbers if int(number) not in nights.by_day]
    if not missing:
        return []
    return [
        _note(
            f"{several(len(missing), 'night')} without a main sleep, by the day of waking: "
            f"{_listed(missing)}. Those days begin at the usual waking, and their overnight mean "
            "is read from 00:00 to 06:00",
            "a sleep that ends between 03:00 and 14:00, or one marked main",
            "Nothing to do, unless the tracker has that night.",
            len(missing),
        )
    ]


def _naps(nights: Nights) -> Finding | None:
    if not nights.naps:
        return None
    return _note(
        f"{several(nights.naps, 'nap')} not counted as night sleep",
        f"main sleep; parts within {LONGEST_WAKING_MIN} minutes of each other count as one night",
        "Nothing to do.",
        nights.naps,
    )


def _time_in_bed(nights: Nights) -> Finding | None:
    count = sum(not night.asleep_known for night in nights.by_day.values())
    if not count:
        return None
    return _note(
        f"{several(count, 'night')} without time asleep: time in bed is used for short and "
        "long nights",
        "asleep_min, or the minutes of deep, light and REM sleep",
        "Map the tracker's time asleep if the export has it.",
        count,
    )


def _not_worn(table: UnitTable) -> Finding | None:
    days = Counter(
        day
        for (day, name), why in table.reasons.items()
        if name in table.factors and why.startswith(NOT_WORN)
    )
    if not days:
        return None
    return _note(
        f"{several(len(days), 'day')} on which the tracker was not worn, or not long enough, "
        f"for some habit. Days: {_listed(sorted(days))}. Those habits are unknown there, "
        "not absent",
        "the tracker worn while awake",
        "Ask the client to wear it through the day.",
        len(days),
    )


def _journeys(client: Client) -> list[Finding | None]:
    return [
        _note(
            f"the clock moved by {abs(hours):g} hours: the 72 hours after it are left out",
            "one time zone",
            "Nothing to do.",
            1,
            "left_out",
        )
        for _, hours in trace_of(client).zones.journeys()
    ]


def _tags(tags: Tags) -> list[Finding | None]:
    """Tell of the tags that are asked no questions about: too many kinds of them, or too rare."""
    beyond = [each for each in tags.passed_over if each[1] >= FEWEST_DAYS]
    rare = [each for each in tags.passed_over if each[1] < FEWEST_DAYS]
    return [
        _untaken(
            beyond,
            f"after the {MOST_TAGS} commonest, not asked about as habits",
            f"at most {MOST_TAGS} different tags",
            "Join tags that mean the same under [synonyms] in client.toml, or leave some out.",
        ),
        _untaken(
            rare,
            f"on fewer than {FEWEST_DAYS} days, not asked about as habits",
            f"a tag on {FEWEST_DAYS} days or more",
            "Nothing to do, unless one of them is another spelling: see [synonyms].",
        ),
    ]


def _untaken(tags: list[tuple[str, int]], why: str, expected: str, do: str) -> Finding | None:
    if not tags:
        return None
    listed = ", ".join(f"'{tag}' ({days})" for tag, days in tags[:TAGS_SHOWN])
    listed += f" and {len(tags) - TAGS_SHOWN} more" if len(tags) > TAGS_SHOWN else ""
    noun = "tag" if len(tags) == 1 else "tags"
    return _note(f"{len(tags)} {noun} {why}. Days of each: {listed}", expected, do, len(tags))
