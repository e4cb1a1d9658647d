"""What was kept and planned, and what new days said of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar

from miner.core.facts import Result, Said, Worded
from miner.core.messages import Message, Words, by_rules, message
from miner.core.unit import Shape

if TYPE_CHECKING:
    from miner.core.results.lengths import Lengths
    from miner.core.results.noting import NotTicked


@dataclass(frozen=True, slots=True, repr=False)
class Since(Result):
    """What was changed between the first look at days and the answer from them.

    Attributes:
        changed: days, ISO, whose records were added to, corrected or changed since.
        left_out: days left out since.
        without: what the answer would be without leaving them out; None where there is nothing.
        seen: days that do not count, because their readings were looked at under other dates.
        settings: whether settings that affect the answer were changed since.
        over_before: units that count though their day was over when it was written down.
    """

    changed: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    without: str | None = None
    seen: tuple[str, ...] = ()
    settings: bool = False
    over_before: int = 0

    def messages(
        self, rules: object, without: object = None, unit: str = "day"
    ) -> tuple[Message, ...]:
        """Return every change as a message of its own.

        Args:
            rules: the rule books, for the words.
            without: the answer without leaving days out; where days were left out.
            unit: "day" or "meal".
        """

        def of(name: str, days: tuple[str, ...]) -> list[Message]:
            shown = by_rules(rules, "labels.some_of", days=days)
            return [by_rules(rules, f"wording.since.{name}", days=shown)] if days else []

        said = [*of("changed", self.changed), *of("left_out", self.left_out)]
        if self.left_out and without is not None:
            said.append(by_rules(rules, "wording.since.without", answer=without))
        said += of("seen", self.seen)
        said += [by_rules(rules, "wording.since.settings")] if self.settings else []
        if self.over_before:
            count = message(f"steps.new_{unit}s", count=self.over_before)
            said.append(by_rules(rules, "wording.since.over_before", count=count))
        return tuple(said)


@dataclass(frozen=True, slots=True, repr=False)
class PlanPeriod(Result):
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

    CALLED: ClassVar[Mapping[str, str]] = {"first": "from", "last": "to"}

    def to_dict(self) -> dict[str, Any]:
        """Return the fields under the names of the contract."""
        told = super(PlanPeriod, self).to_dict()
        days = told.pop("leave_out_days")
        return told | {"leave_out_first_day": days > 0, "leave_out_days": days}


LATEST_START = 183
"""In how many days after the end of the records an alternating test may begin at the latest."""


@dataclass(frozen=True, slots=True, repr=False)
class Plan(Result):
    """An alternating test.

    Attributes:
        plan: its name; it is in ``ticks*.csv``. Empty before it is agreed on.
        change: what is tried on the days of the change.
        offset_days: days from a habit's day to the row of the table it is read from.
        pair_spread: standard deviation of a pair's difference, expected.
        sensor_changes: dates on which a new sensor is put on, between pairs.
        seed: of the random order; None before it is agreed on.
        read_on: the date it is read.
        lengths: what tests of other lengths would be, until it is written.
        six_pairs_find: smallest difference that the shortest test, six pairs, would find 80 times
            in 100; None where that is not known.
        put_aside: earlier plans of the same pattern that were given up unread.
        meal: the kind of meal it is read from, an arm a day; empty where days are read.
    """

    plan: str
    id: str
    factor: str
    outcome: str
    unit_of: str
    unit: str
    change: str
    periods: tuple[PlanPeriod, ...]
    pairs: int
    period_days: int
    offset_days: int
    seed: int | None
    smallest_p: float
    power_at_worth_having: float
    detectable: float | None
    worth_having: float
    pair_spread: float
    weeks: int
    sensors: int
    sensor_changes: tuple[str, ...]
    read_on: str
    written: bool = True
    lengths: Lengths | None = None
    six_pairs_find: float | None = None
    put_aside: int = 0
    meal: str = ""
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
        put_aside: earlier plans of the same pattern that were given up unread.
        late_pairs, paused_pairs: begun before the order was drawn, or in a pause: not counted.
        paused: whether it waits now for a caution that came after it was planned.
        pauses: each in words.
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
    paused: bool = False
    paused_pairs: int = 0
    pauses: tuple[Words, ...] = ()
    notes: tuple[Words, ...] = ()

    sentence = Said("as_followed")
    """What it showed, in the words of its level; or how far it is."""

    def to_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, each pair with its difference."""
        out = super(PlanResult, self).to_dict()
        for row, pair in zip(out["pairs"], self.pairs, strict=True):
            row["difference"] = pair.difference
        return out


@dataclass(frozen=True, slots=True, repr=False)
class EveryLook(Result):
    """A reading that stays true however often it is looked at.

    Attributes:
        evidence: the evidence value so far; None before it is defined.
        needed: where it would be clear: with several kept, more.
        reached: whether it has got there.
        units_one_look: new units that one look on one date would take, 80 times in 100.
        units_every_look: new units when every unit may be looked at.
        price_days: how many days longer it takes to look every day than once, on the date.
        reached_on: the day whose look got there first.
    """

    evidence: float | None
    needed: float
    reached: bool
    units_one_look: int | None
    units_every_look: int | None
    price_days: int | None = None
    reached_on: str | None = None


@dataclass(frozen=True, slots=True, repr=False)
class NewUnits(Result):
    """Units that did not suggest a kept hypothesis: how many, with it, without it, unknown."""

    units: int
    with_: int
    without: int
    unknown: int

    CALLED: ClassVar[Mapping[str, str]] = {"with_": "with"}


@dataclass(frozen=True, slots=True, repr=False)
class UnitSeen(Result):
    """One unit of what was followed: its name, the outcome's own unit, with the habit or without.

    Attributes:
        with_: in a test, whether it is of the change.
        high: in the higher quarter of the units around it.
        counted: whether it counts; the first days of a period may not.
    """

    unit: str
    value: float
    with_: bool
    high: bool = False
    counted: bool = True

    CALLED: ClassVar[Mapping[str, str]] = {"with_": "with"}


@dataclass(frozen=True, slots=True, repr=False)
class PeriodSeen(Result):
    """A period of a test as it was read: its days by the rows of the outcome, mean, units."""

    pair: int
    arm: str
    first: str
    last: str
    mean: float | None
    units: tuple[UnitSeen, ...]

    CALLED: ClassVar[Mapping[str, str]] = {"first": "from", "last": "to"}


@dataclass(frozen=True, slots=True, repr=False)
class FollowPicture(Result):
    """The picture of a verdict; there is none before its date.

    Attributes:
        before: the units that suggested it.
        new: the new units of what was watched.
        periods: of a test, with the means that were read.
        sensors: ISO dates of new sensors among all of these.
    """

    before: tuple[UnitSeen, ...]
    new: tuple[UnitSeen, ...] = ()
    periods: tuple[PeriodSeen, ...] = ()
    sensors: tuple[str, ...] = ()

    @property
    def units(self) -> tuple[UnitSeen, ...]:
        """Every unit, those before first."""
        tested = (unit for period in self.periods for unit in period.units)
        return (*self.before, *self.new, *tested)

    @property
    def usual(self) -> float | None:
        """Mean of what nothing changed in: the usual periods of whole pairs, new units without."""
        open_ = {one.pair for one in self.periods if one.mean is None}
        means = [p.mean for p in self.periods if p.arm == "usual" and p.pair not in open_]
        return mean_of(means) if self.periods else mean_of(u.value for u in self.new if not u.with_)


def mean_of(values: Iterable[float | None]) -> float | None:
    """Return the mean of what is known, or None of nothing."""
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None


@dataclass(frozen=True, slots=True, repr=False, kw_only=True)
class KeptResult(Worded):
    """One kept hypothesis.

    Attributes:
        as_: watch, alternate or adopt.
        kept_on: date of its entry in the ledger.
        suggested_by_days_to: last day of the records that suggested it; days after it count.
        read_on: the date its new days are read.
        status: waiting, held_up, did_not_hold, not_settled, habit_stopped; None where no verdict
            is promised.
        difference: with less without, adjusted, on new units; None before the date.
        interval: two one-sided 95 % limits.
        expected: what was expected on new units of a claim, else None.
        sought: the difference that new units are looked at for.
        power: how often they show it on the date, if it is true.
        reason: why it could not be settled, or nothing.
        tried_before: how an earlier test of the same pattern ended, or None.
        test: its last alternating test: what came of it, or how far it is.
        reworded: of a tag or food whose words were merged or parted since, the words it was kept
            with, which count; else nothing.
        since: of a verdict, what was changed of its days after somebody had looked at them.
        picture: of the verdict; None before it, so that nobody stops at a lucky moment.
        shape: of a dose the differences are for one unit of it.
        span: how far the client's own quarters of a dose lay apart; 1 of a cut.
    """

    id: str
    as_: str
    kept_on: str
    suggested_by_days_to: str
    read_on: str | None
    new_units: int = 0
    status: str | None = None
    difference: float | None = None
    interval: tuple[float, float] | None = None
    p: float | None = None
    p_adjusted: float | None = None
    factors: tuple[str, ...]
    lag_days: tuple[int, ...]
    outcome: str
    unit_of: str
    unit: str
    direction: str
    expected: float | None
    smallest_worth_it: float
    counts: NewUnits | None = None
    sought: float | None = None
    power: float | None = None
    every_look: EveryLook | None = None
    reason: Words = ""
    note: str = ""
    proven: bool = True
    tried_before: str | None = None
    open: bool = True
    test: PlanResult | None = None
    reworded: tuple[str, ...] = ()
    since: Since | None = None
    picture: FollowPicture | None = None
    shape: Shape = Shape.CUT
    span: float = 1.0

    sentence = Said("p_adjusted")
    """The claim that it allows; for a verdict, that of its level."""

    CALLED: ClassVar[Mapping[str, str]] = {"as_": "as"}

    @property
    def days_in_all(self) -> int | None:
        """How many days are between what suggested it and its date, or None without one."""
        if self.read_on is None:
            return None
        return (
            date.fromisoformat(self.read_on) - date.fromisoformat(self.suggested_by_days_to)
        ).days


@dataclass(frozen=True, slots=True, repr=False)
class Following(Result):
    """Everything kept of one client, in the order it was kept, and what was left in a session.

    Attributes:
        not_ticked: days of a running test without a tick, up to the last day of the readings.
    """

    client: str
    last_day: str | None
    kept: tuple[KeptResult, ...]
    notes: tuple[Words, ...] = ()
    left: tuple[ChosenIdea, ...] = ()
    not_ticked: tuple[NotTicked, ...] = ()


TEST, ANYWAY, WATCH, LEAVE = "test", "anyway", "watch", "leave"
KEPT_AS: Mapping[str, str] = MappingProxyType(
    {TEST: "alternate", ANYWAY: "adopt", WATCH: "watch", LEAVE: ""}
)
"""Each choice in the order it is offered, with how the pattern is kept; nothing of one left."""


@dataclass(frozen=True, slots=True, repr=False)
class Offer(Result):
    """What may be chosen of one pattern.

    Attributes:
        codes: choice -> its short code, of those that may be made, in the order of ``KEPT_AS``.
        lift: what opens the choices that a caution holds back, "informed", "agreed" or "never";
            empty where nothing is held back.
    """

    codes: Mapping[str, str]
    lift: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class ChosenIdea(Result):
    """One pattern and what is chosen of it.

    Attributes:
        choice: of ``KEPT_AS``; empty where a choice was taken back.
        on: ISO date it was chosen on.
        planned: its test is planned already.
    """

    id: str
    choice: str
    on: str
    factors: tuple[str, ...]
    outcome: str
    unit_of: str
    planned: bool = False


@dataclass(frozen=True, slots=True, repr=False)
class ChoicesMade(Result):
    """What one session wrote down, and everything that is chosen now.

    Attributes:
        made: what was written, in the order it was chosen.
        chosen: what is chosen now, by ID.
    """

    client: str
    made: tuple[ChosenIdea, ...]
    chosen: Mapping[str, ChosenIdea] = field(default_factory=dict)
