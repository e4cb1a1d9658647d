"""What a check leaves to do, and what it decided by itself, in a sentence or a few words each."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from miner.core.messages import several
from miner.core.results import CheckReport, Finding, Severity
from miner.words.safe import clean, name
from miner.words.wording import capital, listed, some_days

TO_DO = {
    "unlogged_rises": "Ask what was eaten at {count} without a meal noted within an hour: {days}. "
    "Leave them out of talk of meals.",
    "pressure_low": "Ask how the client lay in {nights} with a low that may be pressure on the "
    "sensor: {days}. Note it in client.toml if it was.{real}",
    "fast_change": "See whether the sensor was pressed, knocked or changed: {count} changed faster "
    "than a body can ({days}).",
    "sensor_step": "Ask whether a new sensor was put on: {count} with another level after it "
    "({days}). If so add the times to sensor_changes.",
    "tracker_not_worn": "Ask the client to wear the tracker through the day. Without it some habit "
    "is not known on that day: {days}.",
    "no_sleep": "Add the tracker's sleep export. Without it a day runs from 04:00 to 04:00, and "
    "waking glucose is not known.",
}
"""What is to be done, by the code of a finding; others say what was found and what to do."""

REAL, VERY_LOW = " Until then take it as real.", 54
_COUNTED = {"unlogged_rises": "rise", "fast_change": "reading", "sensor_step": "gap"}
_IN_NOT_USED = ("too_few_readings", "day_left_out")
"""What the list of days that are not used says already."""

_BY_FILE = ("file_left_out",)
"""What is to be done for each file by itself."""

_TOGETHER = re.compile(
    "all_day|asleep_and_awake|asleep_beyond_bed|asleep_cut_off|carbs_too_many|clock_apart|"
    "copied_days|days_apart|ends_before_begins|energy_too_small|energy_unit|error_in_cell|"
    "far_cell|fast_change|file_cut_off|formula_without_value|grams_unit|habit_never_varies|"
    "habit_not_measured|half_a_clock|hidden_sheet|journey|late_meals|length_without_awake|"
    "long_cell|lost_decimals|merged_cells|movement_too_long|never_varies|nights_missing|"
    "no_food_by_type|no_food_by_word|no_sleep|no_sleep_at_night|no_time_asleep|no_time_of_day|"
    "offsets_apart|old_spreadsheet|pressure_low|rare_tags|rows_outside|rows_swallowed|"
    "same_every_day|same_readings|sensor_step|short_row|sleep_too_long|sleep_too_short|"
    "sleep_unit|stages_not_asleep|steps_running_total|steps_too_many|stress_from|stuck_value|"
    "thousands|too_few_readings|too_many_tags|tracker_not_worn|two_in_one_file|two_nights|"
    "two_traces|two_values|unlogged_rises"
)
"""Codes of which several findings are one step; each of the others is told by itself."""


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do: its words, and on how many days it would settle something.

    Attributes:
        stops: nothing can be used until it is done.
        named: the words begin with the name of a file.
    """

    text: str
    gain_days: int | None
    stops: bool = False
    named: bool = False

    @property
    def told(self) -> str:
        """The words, after the days where these can be counted."""
        if not self.gain_days:
            return self.text
        first = self.text if self.named else f"{self.text[:1].lower()}{self.text[1:]}"
        return f"{several(self.gain_days, 'day')}: {first}"


def steps(report: CheckReport) -> list[Step]:
    """Return what is to be done: what stops the work, then what would settle most days.

    Args:
        report: the check; its findings of one code are one step.
    """
    groups = _groups([item for item in report.findings if _is_to_do(item)])
    stops = [Step(_words(group), None, stops=True) for group in groups if _stops(group)]
    others = [
        Step(_words(group), _gain(group), named=bool(group[0].file and group[0].code not in TO_DO))
        for group in groups
        if not _stops(group)
    ]
    others.sort(key=lambda step: -(step.gain_days or 0))
    asked = [Step(_to_ask(report.intake_not_asked), None)] if report.intake_not_asked else []
    return [*stops, *others, *asked]


def decided(report: CheckReport) -> list[str]:
    """Return, in a few words each, what was left out or read in some way without a question."""
    found = [item for item in report.findings if not _is_to_do(item)]
    groups = _groups([item for item in found if item.code not in _IN_NOT_USED])
    groups.sort(key=lambda group: (group[0].severity is Severity.NOTE, -_count(group)))
    return [_phrase(group) for group in groups]


def _is_to_do(item: Finding) -> bool:
    asked = item.severity in (Severity.STOP, Severity.QUESTION)
    return asked or item.gain_days is not None or item.code in _BY_FILE


def _groups(found: Sequence[Finding]) -> list[list[Finding]]:
    """Return the findings of one code together where they are one step, else each by itself."""
    groups: dict[object, list[Finding]] = {}
    for place, item in enumerate(found):
        together = _TOGETHER.fullmatch(item.code)
        groups.setdefault((item.severity, item.code) if together else place, []).append(item)
    return list(groups.values())


def _stops(group: list[Finding]) -> bool:
    return group[0].severity is Severity.STOP


def _gain(group: list[Finding]) -> int | None:
    known = [item.gain_days for item in group if item.gain_days is not None]
    days = {day for item in group for day in item.days}
    return None if not known else max([*known, len(days) if len(group) > 1 else 0])


def _count(group: list[Finding]) -> int:
    return sum(item.count for item in group)


def _words(group: list[Finding]) -> str:
    item = group[0]
    days = sorted({day for each in group for day in each.days})
    if item.code in TO_DO:
        return TO_DO[item.code].format(
            count=several(_count(group), _COUNTED.get(item.code, "record")),
            nights=several(len(days), "night"),
            days=some_days(days),
            real=REAL if any(_very_low(each) for each in group) else "",
        )
    place = _place(item)
    found = f"{place}{_brief(item)}" if place else capital(_brief(item))
    more = f" And {len(group) - 1} more of the kind." if len(group) > 1 else ""
    return f"{_stop(found)} {_stop(item.do)}{more}"


def _very_low(item: Finding) -> bool:
    return float(item.values.get("lowest", VERY_LOW)) < VERY_LOW


def _phrase(group: list[Finding]) -> str:
    item = group[0]
    files = listed(sorted({name(each.file) for each in group if each.file}))
    more = f" ({len(group)} times)" if len(group) > 1 else ""
    return f"{_brief(item)}{f' ({files})' if files else ''}{more}"


def _place(item: Finding) -> str:
    where = [name(item.file)] if item.file else []
    where += [f"row {item.row}"] if item.row is not None else []
    return f"{', '.join(where)}: " if where else ""


def _brief(item: Finding) -> str:
    return clean(item.short or item.what, 2000)


def _to_ask(names: Sequence[str]) -> str:
    return f"Ask about {'; '.join(clean(each, 60) for each in names)}."


def _stop(text: str) -> str:
    text = clean(text, 2000)
    return text if text.endswith((".", "?", "!")) else f"{text}."
