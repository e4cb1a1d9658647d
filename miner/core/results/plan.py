"""An alternating test in one person: what is planned, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from miner.core.messages import Words
from miner.core.results.base import Result, Worded


@dataclass(frozen=True, slots=True, repr=False)
class Period(Result):
    """Days in a row on which one thing is done.

    Attributes:
        number: from 1.
        pair: from 1; two periods in a row are a pair.
        first, last: ISO dates; "from" and "to" in JSON.
        arm: "change" or "usual"; "undrawn" before the plan is agreed on.
        leave_out_days: days at its start that are not counted.
    """

    number: int
    pair: int
    first: str
    last: str
    arm: str
    leave_out_days: int

    def to_dict(self) -> dict[str, Any]:
        """Return the fields under the names of the contract."""
        return {
            "number": self.number, "pair": self.pair, "from": self.first, "to": self.last,
            "arm": self.arm, "leave_out_first_day": self.leave_out_days > 0,
            "leave_out_days": self.leave_out_days,
        }  # fmt: skip


@dataclass(frozen=True, slots=True, repr=False)
class Plan(Result):
    """An alternating test.

    Attributes:
        plan: its name; it stands in ``ticks*.csv``. Empty before it is agreed on.
        change: what is tried on the days of the change.
        offset_days: days from a habit's day to the row of the table it is read from.
        pair_spread: standard deviation of a pair's difference, expected.
        sensor_changes: dates on which a new sensor is put on, between pairs.
        seed: of the coins; None before it is agreed on.
        read_on: the date it is read.
        six_pairs_find: smallest difference that the shortest test, six pairs, would find 80 times
            in 100; None where that is not known.
        put_aside: earlier plans of the same idea that were given up unread.
    """

    plan: str
    id: str
    factor: str
    outcome: str
    unit_of: str
    unit: str
    change: str
    periods: tuple[Period, ...]
    pairs: int
    period_days: int
    offset_days: int
    seed: int | None
    smallest_p: float
    power_at_worth_having: float
    detectable: float
    worth_having: float
    pair_spread: float
    weeks: int
    sensors: int
    sensor_changes: tuple[str, ...]
    read_on: str
    written: bool = True
    six_pairs_find: float | None = None
    put_aside: int = 0
    stop_rules: tuple[Words, ...] = ()
    notes: tuple[Words, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class PairRead(Result):
    """One pair as read: means of its two periods, units behind them, followed or not."""

    pair: int
    change: float | None
    usual: float | None
    change_units: int
    usual_units: int
    followed: bool | None

    @property
    def difference(self) -> float | None:
        """Change less usual, or None where one of them is unknown."""
        if self.change is None or self.usual is None:
            return None
        return self.change - self.usual


@dataclass(frozen=True, slots=True, repr=False)
class PairsTest(Result):
    """The randomisation test of some pairs."""

    pairs_used: int
    difference: float | None
    interval: tuple[float, float] | None
    p: float | None
    orders: int = 0
    exact: bool = True


@dataclass(frozen=True, slots=True, repr=False)
class PlanResult(Worded):
    """What an alternating test showed.

    Attributes:
        status: changed, no_change or not_settled; None before its date.
        difference: change less usual, mean of the pairs, as planned.
        pairs_not_followed: pairs on which what was planned was not done, or nothing says it was.
        as_followed: the same test on the pairs that were followed.
        ticks_and_records_differ: days on which a tick says one thing and the records another.
        put_aside: earlier plans of the same idea that were given up unread.
        late_pairs: pairs that began before their order was drawn; they do not count.
    """

    plan: str
    status: str | None
    difference: float | None
    interval: tuple[float, float] | None
    p: float | None
    pairs_used: int
    pairs_not_followed: int
    as_followed: PairsTest
    id: str
    factor: str
    outcome: str
    unit: str
    unit_of: str
    worth_having: float
    read_on: str
    pairs: tuple[PairRead, ...] = ()
    ticks_and_records_differ: int = 0
    stopped_early: bool = False
    planned_pairs: int = 0
    proven: bool = True
    put_aside: int = 0
    late_pairs: int = 0
    notes: tuple[Words, ...] = ()

    SAID: ClassVar[Mapping[str, tuple[str, ...]]] = {"as_followed": ("sentence",)}

    @property
    def sentence(self) -> str:
        """What it showed, in the words of its level; or how far it is."""
        return str(self.said("sentence"))

    def to_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, each pair with its difference."""
        out = super(PlanResult, self).to_dict()
        for row, pair in zip(out["pairs"], self.pairs, strict=True):
            row["difference"] = pair.difference
        return out
