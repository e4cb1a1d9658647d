"""What a unit is, a biological day or a meal: its rows, its columns, and the table made of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import MinerError, closest
from miner.tables.cells import Columns, Found, cut
from miner.tables.columns import Floats, Times, iso_day, stamps
from miner.tables.measures import takes_medicine
from miner.tables.unit_table import UnitTable

if TYPE_CHECKING:
    from miner.core.messages import Message
    from miner.records.client import Client
    from miner.rulebook import FactorRule, RuleBook

Records = TypeVar("Records")
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
TYPES = {"date": object, "rest_day": bool, "sensor": object, "usable": bool, "left_out": object}


@dataclass(frozen=True, slots=True)
class Rows(Generic[Records]):
    """The units of one client, in time order.

    Attributes:
        records: what the measures read.
        names: of the units.
        number: days since 1970-01-01 of the date of each.
        start, end: wall clock, seconds.
        sensor: the one that most of it was measured with.
        coverage: share of it that readings cover.
        left_out: why it is not used, None where it is.
        more: columns of this unit alone.
        outcomes, by_clock: every outcome, and again over windows fixed by the clock.
        context: what is reported and not ranked.
        noted: by kind ("tag", "food"), what the client noted often enough to be a factor.
    """

    records: Records
    names: tuple[str, ...]
    number: Times
    start: Times
    end: Times
    sensor: Sequence[str]
    coverage: Floats
    left_out: Sequence[Message | None]
    more: Mapping[str, NDArray[Any]]
    outcomes: Mapping[str, list[Found]]
    by_clock: Mapping[str, list[Found]]
    context: Mapping[str, Sequence[str] | Floats]
    noted: Mapping[str, Sequence[str]]


@dataclass(frozen=True, slots=True)
class UnitSpecification(Generic[Records]):
    """One kind of unit.

    Attributes:
        unit: "day" or "meal".
        rows: the units of a client.
        measures: the number behind a factor, by the name that the rule book gives it.
        noted: the number behind what a client noted, by kind ("tag", "food").
    """

    unit: str
    rows: Callable[[Client, RuleBook], Rows[Records]]
    measures: Mapping[str, Callable[[Records, int], Found]]
    noted: Mapping[str, Callable[[str, Records], Callable[[Records, int], Found]]]

    def table(self, client: Client, rules: RuleBook) -> UnitTable:
        """Return one row a unit: outcomes, factors, and where each came from.

        Args:
            client: the records as read.
            rules: the rule books; their outcomes and factors of the unit become the columns.

        Raises:
            MinerError: the rule book asks for an outcome, window or measure that is not known.
        """
        return client.derived(f"{self.unit} table", rules, lambda: self._table(client, rules))

    def _table(self, client: Client, rules: RuleBook) -> UnitTable:
        rows = self.rows(client, rules)
        index = pd.Index(rows.names, dtype=object, name="unit")
        usable = [why is None for why in rows.left_out]
        outcomes = Columns(rows.names, rows.outcomes)
        found = {}
        for name, rule in self._factors(rows, rules).items():
            measure = self._measure(name, rule, rows.records)
            found[name] = cut([measure(rows.records, k) for k in range(len(index))], rule, usable)
        factors = Columns(rows.names, found)
        dates = [iso_day(day) for day in rows.number]
        head = {
            "date": dates,
            "day_number": rows.number,
            "start": stamps(rows.start),
            "end": stamps(rows.end),
            "rest_day": _rest_days(client, dates, rows.number.tolist()),
            "sensor": rows.sensor,
            "coverage": rows.coverage,
            "usable": usable,
            "left_out": [why or "" for why in rows.left_out],
        }
        first = pd.DataFrame(head | dict(rows.more), index=index).astype(TYPES)
        return UnitTable(
            unit=self.unit,
            frame=pd.concat([first, outcomes.frame(), factors.frame("decided")], axis=1),
            outcomes=tuple(outcomes.cells),
            factors=tuple(factors.cells),
            measures=factors.frame(),
            by_clock=Columns(rows.names, rows.by_clock).frame(),
            reasons=outcomes.reasons() | factors.reasons("decided"),
            sources=outcomes.sources() | factors.sources(),
            context=pd.DataFrame(rows.context, index=index),
            replaced=client.replaced,
            medicine=takes_medicine(client, rules),
        )

    def _factors(self, rows: Rows[Records], rules: RuleBook) -> dict[str, FactorRule]:
        """Return the rule of every factor: the rule book's order, then what the client noted."""
        listed = rules.factors_of(self.unit)
        found = {name: rule for name, rule in listed.items() if "*" not in name}
        for kind in (each for each in self.noted if f"{each}:*" in listed):
            names = [f"{kind}:{words}" for words in rows.noted[kind]]
            found |= {name: rules.factor(name, self.unit) for name in names}
        return found

    def _measure(
        self, name: str, rule: FactorRule, records: Records
    ) -> Callable[[Records, int], Found]:
        kind, _, words = name.partition(":")
        if words and kind in self.noted:
            return self.noted[kind](words, records)
        if rule.measure not in self.measures:
            raise MinerError(
                "tables.measure_unknown",
                file="factors.toml",
                name=name,
                measure=rule.measure,
                known=list(self.measures),
                close=closest(rule.measure, self.measures),
            )
        return self.measures[rule.measure]


def _rest_days(client: Client, dates: Sequence[str], numbers: Sequence[int]) -> list[bool]:
    """Return which days the settings call rest days, by their date or the day of the week."""
    named = {str(item).casefold() for item in client.settings.rest_days}
    rest = named | {item[:3] for item in named if item[:3] in WEEKDAYS}
    days = [WEEKDAYS[(number + 3) % 7] for number in numbers]
    return [date in rest or day in rest for date, day in zip(dates, days, strict=True)]
