"""Everything a measure of a day may read, put together once for a client."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from miner.core.errors import MinerError, closest
from miner.core.messages import Message
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.biological_days import Days, days_of
from miner.tables.clockwork import DAY, usual_clock
from miner.tables.food.eating import Eaten, Food, eaten_by_day, food_of
from miner.tables.found import Found
from miner.tables.glucose.trace import Trace, trace_of
from miner.tables.movement.tracker import Movement, movement_of
from miner.tables.sleep.nights import Nights, nights_of
from miner.tables.stress import Stress, stress_of
from miner.tables.tag_days import Tags, tags_of
from miner.tables.tracker import Tracker, tracker_of
from miner.tables.unfinished import Unfinished, unfinished_of
from miner.tables.windows import why_no_night


@dataclass(frozen=True, slots=True)
class DayRecords:
    """One client's streams, cut into biological days.

    Attributes:
        no_night: why the main sleep that opens each day is not known, None where it is.
        usual_middle: the client's median midpoint of sleep, seconds after midnight, or None.
        food: the meal log.
        eaten: the eating occasions of each day.
        unfinished: the records left out because their end cannot be used.
    """

    trace: Trace
    nights: Nights
    days: Days
    no_night: tuple[Message | None, ...]
    usual_middle: int | None
    food: Food
    eaten: tuple[Eaten, ...]
    movement: Movement
    stress: Stress
    tracker: Tracker
    unfinished: Unfinished
    tags: Tags

    def day(self, k: int) -> tuple[int, int]:
        """Return the instants between which a biological day lies."""
        return int(self.days.start[k]), int(self.days.end[k])

    def waking_day(self, k: int) -> tuple[int, int]:
        """Return the instants of waking and of falling asleep."""
        return int(self.days.start[k]), int(self.days.asleep[k])

    def midnight(self, k: int) -> int:
        """Return the wall clock, in seconds, at which the date of a day begins."""
        return int(self.days.number[k]) * DAY

    def instant(self, k: int, clock: int) -> int:
        """Return the instant of a time of day, in seconds after midnight, on the date of a day."""
        return int(self.trace.zones.instant(self.midnight(k) + clock)[0])


Measure = Callable[[DayRecords, int], Found]


def records_of(client: Client, rules: RuleBook) -> DayRecords:
    """Cut a client's streams into biological days."""
    return client.derived("day records", rules, lambda: _records_of(client, rules))


def _records_of(client: Client, rules: RuleBook) -> DayRecords:
    trace, nights, food = trace_of(client), nights_of(client), food_of(client, rules)
    days = days_of(trace, nights)
    middles = np.array([night.middle_clock for night in nights.by_day.values()], dtype=np.int64)
    return DayRecords(
        trace=trace,
        nights=nights,
        days=days,
        no_night=why_no_night(days, nights),
        usual_middle=usual_clock(middles),
        food=food,
        eaten=tuple(eaten_by_day(food, days)),
        movement=movement_of(client),
        stress=stress_of(client),
        tracker=tracker_of(client),
        unfinished=unfinished_of(client),
        tags=tags_of(client, days, rules.cautions),
    )


def measure_named(name: str, factor: str, known: Mapping[str, Measure]) -> Measure:
    """Return the measure a factor asks for.

    Raises:
        MinerError: there is no measure of that name.
    """
    if name not in known:
        raise MinerError(
            "tables.measure_unknown",
            file="factors.toml",
            name=factor,
            measure=name,
            known=list(known),
            close=closest(name, known),
        )
    return known[name]
