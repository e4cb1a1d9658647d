"""Whether an entry of the ledger holds what it must; one changed by hand may not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from miner.core.errors import MinerError
from miner.ledger.line import NAME

Real = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Number = Real | None
FIRST_YEAR, LAST_YEAR = 1900, 2200


def _day(value: Any) -> date:
    found = date.fromisoformat(value) if isinstance(value, str) else None
    if found is None or found.isoformat() != value or not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise ValueError(value)
    return found


Day = Annotated[date, BeforeValidator(_day)]
Whole = Annotated[int, Field(strict=True)]
Days = Annotated[int, Field(strict=True, ge=0, le=31)]


class _Entry(BaseModel):
    model_config = ConfigDict(defer_build=True)


class _Definitions(_Entry):
    factors: dict[str, dict[str, Any]] = {}
    outcome: dict[str, Any] = {}
    range: tuple[float, float] = (0.0, 0.0)
    words: dict[str, tuple[str, ...]] = {}


class _Per(_Entry):
    amount: Real = Field(gt=0)
    unit: str
    towards: Literal["more", "less"]
    span: Real = Field(gt=0)


class KeptEntry(_Entry):
    """A hypothesis that was kept."""

    id: str
    as_: Literal["watch", "alternate", "adopt"] = Field(alias="as")
    factors: tuple[str, ...] = Field(min_length=1)
    lag_days: tuple[Days, ...] = Field(min_length=1)
    outcome: str
    unit_of: Literal["day", "meal"]
    direction: Literal["up", "down"]
    definitions: _Definitions
    smallest_worth_it: Real = Field(gt=0)
    suggested_by_days_to: Day
    read_on: Day
    note: str = ""
    difference: Number = None
    expected: Number = None
    wobble: Number = None
    standard_error: Number = None
    shape: Literal["cut", "dose"] = "cut"
    per: _Per | None = None
    units: Number = None
    a_day: Number = None
    sought: Number = None
    power: Number = None


class _Period(_Entry):
    number: Whole
    pair: Whole
    first: Day = Field(alias="from")
    last: Day = Field(alias="to")
    arm: Literal["change", "usual"]
    leave_out_days: Days


class PlanEntry(_Entry):
    """A plan of an alternating test."""

    plan: str
    factor: str
    outcome: str
    unit: str
    change: str
    periods: tuple[_Period, ...] = Field(min_length=2)
    pairs: Whole
    offset_days: Days
    seed: Whole = Field(ge=0)
    worth_having: Real = Field(gt=0)
    read_on: Day
    unit_of: Literal["day", "meal"] = "day"
    period_days: Whole = 0
    weeks: Whole = 0
    sensors: Whole = 0
    sensor_changes: tuple[Day, ...] = ()
    power_at_worth_having: Real = 0.0
    detectable: Real = 0.0
    six_pairs_find: Number = None
    put_aside: Whole = 0
    stop_rules: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def is_day(text: str) -> bool:
    """Return whether a text is a day as the ledger writes it."""
    try:
        return bool(_day(text))
    except ValueError:
        return False


def is_whole(model: type[KeptEntry | PlanEntry], told: Mapping[str, Any]) -> bool:
    """Return whether an entry holds what its kind must hold."""
    try:
        found = model.model_validate(dict(told))
    except ValidationError:
        return False
    if isinstance(found, KeptEntry):
        return len(found.factors) == len(found.lag_days)
    arms = [(period.pair, period.arm) for period in found.periods]
    both = {(pair, arm) for pair, _ in arms for arm in ("change", "usual")}
    return len(arms) == len(both) and set(arms) == both


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
