"""What the entries of a ledger hold, schema 1; one that was changed by hand may not hold it.

Entries that an earlier version of the program wrote have less in them; what is missing is None, or
what it was taken to be then.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from functools import cache
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    PlainValidator,
    TypeAdapter,
    model_validator,
)

from miner.core.messages import MinerError
from miner.core.results.follow import NewUnits, PlanPeriod, PlanResult, Since
from miner.core.unit import Shape
from miner.ledger.line import NAME

FIRST_YEAR, LAST_YEAR = 1900, 2200


def _day(text: str) -> str:
    found = date.fromisoformat(text)
    if found.isoformat() != text or not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise ValueError(text)
    return text


Whole = Annotated[int, Field(strict=True)]
Float = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Positive = Annotated[Whole | Float, Field(gt=0)]
Number = Whole | Float | None
Day = Annotated[str, Field(strict=True), AfterValidator(_day)]
Days = Annotated[int, Field(strict=True, ge=0, le=31)]


class LedgerEntry(BaseModel):
    """What an entry of one kind holds."""

    model_config = ConfigDict(defer_build=True, frozen=True, populate_by_name=True)

    @classmethod
    def read(cls, payload: Mapping[str, Any]) -> Self:
        """Return what an entry holds.

        Raises:
            ValueError: it does not hold what its kind must hold.
        """
        return cls.model_validate(dict(payload))

    def payload(self) -> dict[str, Any]:
        """Return what is written, in the order of the fields."""
        return self.model_dump(by_alias=True)


class Definitions(LedgerEntry):
    """How the habits and the outcome of a hypothesis were defined when it was kept."""

    factors: dict[str, dict[str, Any]] = {}
    outcome: dict[str, Any] = {}
    range: tuple[Whole | Float, Whole | Float] | None = None
    words: dict[str, tuple[str, ...]] = {}


class PerAmount(LedgerEntry):
    """What the difference of a kept dose is for, as in ``results.Per``."""

    amount: Positive
    unit: str
    towards: Literal["more", "less"]
    span: Positive


class FrozenIdea(LedgerEntry):
    """A hypothesis as it was ranked, with its definitions.

    Attributes:
        unit_sd: SD of a unit of the outcome, nuisance taken out; `wobble` on its line.
        units: on which the outcome was known; ``with_`` and ``without`` the habit.
        t_at_worth: t that the smallest difference worth it would have had.
        a_day: units a day has.
    """

    id: str
    factors: tuple[str, ...] = Field(min_length=1)
    lag_days: tuple[Days, ...] = Field(min_length=1)
    outcome: str
    unit_of: Literal["day", "meal"]
    relation: str = ""
    definitions: Definitions
    direction: Literal["up", "down"]
    difference: Number = None
    expected: Number = None
    shape: Shape = Shape.CUT
    per: PerAmount | None = None
    smallest_worth_it: Positive
    evidence: str = ""
    family: str = ""
    unit_sd: Number = Field(default=None, alias="wobble")
    standard_error: Number = None
    degrees_of_freedom: Number = None
    units: Number = None
    with_: Number = Field(default=None, alias="with")
    without: Number = None
    t_at_worth: Number = None
    records_hash: str = ""
    rules_hash: str = ""
    a_day: Number = None

    @property
    def span(self) -> float:
        """How far the client's own quarters of a dose lay apart; 1 of a cut."""
        return 1.0 if self.per is None else float(self.per.span)

    @property
    def sought(self) -> float:
        """The difference that new units are looked at for: expected, at least worth acting on."""
        return max(abs(float(self.expected or 0.0)), float(self.smallest_worth_it) / self.span)

    @model_validator(mode="after")
    def _each_habit_has_its_lag(self) -> Self:
        if len(self.factors) != len(self.lag_days):
            raise ValueError(self.lag_days)
        return self


class KeptEntry(FrozenIdea):
    """A hypothesis that was kept."""

    sought_then: Number = Field(default=None, alias="sought")
    power: Number = None
    as_: Literal["watch", "alternate", "adopt"] = Field(alias="as")
    note: str = ""
    suggested_by_days_to: Day
    records_last_day: str | None = None
    read_on: Day
    days_to_settle: Number = None
    rankings_of_these_records: Number = None


class LeftEntry(LedgerEntry):
    """A hypothesis that was left: it is neither tested nor followed."""

    id: str
    factors: tuple[str, ...] = Field(min_length=1)
    outcome: str
    unit_of: Literal["day", "meal"]
    records_last_day: Day | None = None


class _PeriodEntry(LedgerEntry):
    number: Whole
    pair: Whole
    first: Day = Field(alias="from")
    last: Day = Field(alias="to")
    arm: Literal["change", "usual"]
    leave_out_days: Days


def _period(told: Any) -> PlanPeriod:
    return PlanPeriod(**_PeriodEntry.model_validate(told).model_dump())


class PlanEntry(LedgerEntry):
    """A plan of an alternating test, as in ``results.Plan``."""

    plan: str
    factor: str
    outcome: str
    unit: str
    change: str
    periods: tuple[Annotated[PlanPeriod, PlainValidator(_period)], ...] = Field(min_length=2)
    pairs: Whole
    offset_days: Days
    seed: Whole = Field(ge=0)
    worth_having: Positive
    read_on: Day
    unit_of: Literal["day", "meal"] = "day"
    period_days: Whole = 0
    weeks: Whole = 0
    sensors: Whole = 0
    sensor_changes: tuple[Day, ...] = ()
    power_at_worth_having: Float = 0.0
    detectable: Number = 0.0
    six_pairs_find: Number = None
    put_aside: Whole = 0
    meal: Literal["", "breakfast", "lunch", "dinner"] = ""
    stop_rules: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _pairs_have_both_arms(self) -> Self:
        arms = [(period.pair, period.arm) for period in self.periods]
        both = {(pair, arm) for pair, _ in arms for arm in ("change", "usual")}
        if len(arms) != len(both) or set(arms) != both:
            raise ValueError(arms)
        return self


class _Counts(LedgerEntry):
    units: Whole
    with_: Whole = Field(alias="with")
    without: Whole
    unknown: Whole


def _new_units(told: Any) -> NewUnits | None:
    return None if told is None else NewUnits(**_Counts.model_validate(told).model_dump())


class VerdictEntry(LedgerEntry):
    """A verdict on what was watched."""

    status: str
    difference: Number = None
    interval: tuple[float, float] | None = None
    p: Number = None
    p_adjusted: Number = None
    reason: str | None = None
    new_units: int | None = None
    counts: Annotated[NewUnits | None, PlainValidator(_new_units)] = None
    since: Since | None = None


@cache
def _plan_result() -> TypeAdapter[PlanResult]:
    return TypeAdapter(PlanResult)


def plan_verdict(payload: Mapping[str, Any]) -> PlanResult:
    """Return the verdict on an alternating test as it was written.

    Raises:
        ValueError: the entry does not hold one.
    """
    return _plan_result().validate_python(dict(payload))


def is_day(text: str) -> bool:
    """Return whether a text is a day as the ledger writes it."""
    try:
        return bool(_day(text))
    except ValueError:
        return False


@contextmanager
def as_written(code: str, name: str) -> Iterator[None]:
    """Turn what goes wrong in reading an entry into a message about the ledger.

    Args:
        code: of the message where it cannot be read.
        name: of the entry, for the message.

    Raises:
        MinerError: it cannot be read.
    """
    try:
        yield
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        raise MinerError(code, file=NAME, name=name) from error
