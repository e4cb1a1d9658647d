"""An alternating test in one person: pairs of periods in a drawn order, between sensor changes.

How large it has to be, when it can be, and how its pairs are read.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, isnan

import numpy as np

from miner.core.messages import MinerError, Words, message
from miner.core.results import PairRead, PairsTest, Plan, PlanPeriod
from miner.followup.sizes import Size, detectable_by, power_of
from miner.ledger import FrozenIdea
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.rulebook import FactorRule, RuleBook
from miner.stats.power import (
    SignFlips,
    change_first,
    pairs_detectable,
    sign_flips,
    smallest_p,
)
from miner.tables.unit_table import UnitTable

MIN_PAIRS = 6
SENSOR_DAYS = 14
"""Assumed where nobody said how long a sensor is worn; a plan that rests on it says so."""
MAX_WEEKS = 26
ONE_DAY = timedelta(days=1)
UNDRAWN = "undrawn"


def lay_out(
    chosen: Size,
    start: date,
    offset_days: int,
    seed: int | None,
    sensor_changes: Sequence[date],
    sensor_days: int = SENSOR_DAYS,
) -> tuple[tuple[PlanPeriod, ...], tuple[date, ...]]:
    """Return the periods and the sensor changes that fall between their pairs.

    Args:
        chosen: how large the test is.
        start: its first day.
        offset_days: days from a habit's day to the row it is read from; a pair needs them too.
        seed: of the random order; None lays out the days and draws no order: arms are "undrawn".
        sensor_changes: known dates of a new sensor, past ones too; after the last of them one
            every ``sensor_days``, and without any the first put on the day before the start.
        sensor_days: how long a sensor is worn.
    """
    known, planned = sorted(sensor_changes), list[date]()
    worn_from, at = start - timedelta(days=1), start
    if known and known[0] < start:
        last = max(day for day in known if day < start)
        worn_from = last if (start - last).days <= sensor_days else worn_from
    span = 2 * chosen.period_days + offset_days
    periods: list[PlanPeriod] = []
    for pair, arms in enumerate(_arms(chosen.pairs, seed), 1):
        at, worn_from, new = _fits(at, worn_from, span, known, sensor_days)
        planned += new
        for arm in arms:
            last = at + timedelta(days=chosen.period_days - 1)
            number, days = len(periods) + 1, (at.isoformat(), last.isoformat())
            periods.append(PlanPeriod(number, pair, *days, arm, chosen.leave_out_days))
            at = last + ONE_DAY
    return tuple(periods), tuple(planned)


def _arms(pairs: int, seed: int | None) -> list[tuple[str, str]]:
    """Return what comes first and second in each pair."""
    if seed is None:
        return [(UNDRAWN, UNDRAWN)] * pairs
    return [
        ("change", "usual") if first else ("usual", "change") for first in change_first(pairs, seed)
    ]


def _fits(
    at: date, worn_from: date, span: int, known: Sequence[date], sensor_days: int
) -> tuple[date, date, list[date]]:
    """Return where the next pair may begin, the sensor it is worn on, and what changes before.

    No known change falls into the pair; beyond the last known one the sensor is changed before it
    would be worn too long.
    """
    new = []
    for change in known:
        if worn_from < change < at + timedelta(days=span):
            new.append(change)
            worn_from, at = change, max(at, change + timedelta(days=1))
    ahead = any(change > worn_from for change in known)
    if not ahead and (at - worn_from).days + span > sensor_days and at > worn_from + ONE_DAY:
        new.append(at)
        worn_from, at = at, at + ONE_DAY
    return at, worn_from, new


def plan_name(id_: str, start: date, seed: int) -> str:
    """Return six hexadecimal digits that name a plan; the same plan has the same name."""
    text = json.dumps([id_, start.isoformat(), seed])
    return hashlib.sha256(text.encode()).hexdigest()[:6]


def plan_seed(check: str) -> int:
    """Return the seed of the random order, from the ledger's entry of the kept pattern alone.

    Nothing that is chosen when a test is planned moves it, so no order can be tried for.

    Args:
        check: of that entry's text.
    """
    # "coins" is in the seed of every order that was drawn so far, so it stays
    text = json.dumps(["coins", check])
    return int(hashlib.sha256(text.encode()).hexdigest()[:8], 16)


def drawn_late(first: str, at: str) -> bool:
    """Say whether a first day was over, in every time zone, when the order of a plan was drawn.

    Args:
        first: of the plan or of a period, ISO.
        at: the moment of its entry in the ledger, ISO; one that cannot be read says nothing.
    """
    try:
        return (date.fromisoformat(at[:10]) - date.fromisoformat(first)).days > 1
    except ValueError:
        return False


def drawn_in_time(periods: Sequence[PlanPeriod], at: str) -> tuple[PlanPeriod, ...]:
    """Return the periods of the pairs that had not begun when the order of a plan was drawn.

    Args:
        periods: of the plan.
        at: the moment of its entry in the ledger, ISO.
    """
    late = {one.pair for one in periods if drawn_late(one.first, at)}
    return tuple(one for one in periods if one.pair not in late)


def weeks_of(periods: Sequence[PlanPeriod]) -> int:
    """Return how many weeks a plan takes."""
    first, last = (date.fromisoformat(day) for day in (periods[0].first, periods[-1].last))
    return ceil(((last - first).days + 1) / 7)


@dataclass(frozen=True, slots=True)
class Wish:
    """What was asked for.

    Attributes:
        start: first day.
        worth_having: a larger difference than the smallest worth it, or None.
        pairs: how many, or None for those of a length.
        length: short, middle or long; None for the shortest that finds what is expected.
        sensor_days: how long a sensor is worn where no change is known, or None.
        meal: of a habit of meals the kind it is tested on, or None for the one that holds most of
            the habit.
        glucose_in: the unit of ``worth_having`` where the outcome is glucose.
    """

    start: date
    worth_having: float | None = None
    pairs: int | None = None
    sensor_days: int | None = None
    length: str | None = None
    meal: str | None = None
    glucose_in: str = "mg/dL"

    @property
    def worn_days(self) -> int:
        """How long a sensor is worn, as said or assumed."""
        return self.sensor_days or SENSOR_DAYS


def make_plan(
    what: FrozenIdea,
    rules: RuleBook,
    wish: Wish,
    chosen: Size,
    *,
    seed: int | None,
    sensor_changes: Sequence[date],
) -> Plan:
    """Return a plan: how many pairs, when, in which order, what it can show.

    Without a seed nothing is drawn: the days are there, their order and the plan's name are not.

    Args:
        what: what was kept, of one habit.
        rules: the rule books with the kept definitions.
        wish: what was asked for; of a habit of meals, with its kind of meal.
        chosen: how large it is.
        seed: of the random order, or None before it is agreed on.
        sensor_changes: known dates of a new sensor.

    Raises:
        MinerError: it would take more than half a year, or what was asked for cannot be.
    """
    outcome = rules.outcome(what.outcome, what.unit_of)
    rule = rules.factor(what.factors[0], what.unit_of)
    worth = _worth(wish, float(what.smallest_worth_it), outcome.measure_unit)
    if 2 * chosen.pairs * chosen.period_days > 7 * MAX_WEEKS:
        raise MinerError("followup.long_pairs", pairs=chosen.pairs, weeks=MAX_WEEKS, need=MIN_PAIRS)
    worth, notes = _no_larger(worth, chosen.spread, what, outcome.measure_unit)
    offset = offset_of(what, rule)
    periods, changes = lay_out(chosen, wish.start, offset, seed, sensor_changes, wish.worn_days)
    end = date.fromisoformat(periods[-1].last) + timedelta(days=offset)
    return Plan(
        plan="" if seed is None else plan_name(what.id, wish.start, seed),
        id=what.id,
        factor=what.factors[0],
        outcome=what.outcome,
        unit_of=what.unit_of,
        unit=outcome.measure_unit,
        change=rule.try_,
        periods=periods,
        pairs=chosen.pairs,
        period_days=chosen.period_days,
        offset_days=offset,
        seed=seed,
        smallest_p=smallest_p(chosen.pairs),
        power_at_worth_having=power_of(chosen, worth),
        detectable=detectable_by(chosen),
        worth_having=worth,
        pair_spread=chosen.spread,
        weeks=weeks_of(periods),
        sensors=len(changes) + 1,
        sensor_changes=tuple(day.isoformat() for day in changes),
        read_on=end.isoformat(),
        six_pairs_find=pairs_detectable(chosen.spread, MIN_PAIRS),
        meal=wish.meal or "",
        notes=notes,
    )


def offset_of(what: FrozenIdea, rule: FactorRule) -> int:
    """Return the days from a habit's day to the row of the table it is read from."""
    return what.lag_days[0] + int(rule.stream == "sleep")


def _worth(wish: Wish, smallest: float, unit: str) -> float:
    if wish.pairs is not None and wish.pairs < MIN_PAIRS:
        raise MinerError("followup.few_pairs", pairs=wish.pairs, need=MIN_PAIRS)
    if wish.worth_having is None:
        return smallest
    worth = _in_unit(wish.worth_having, wish.glucose_in, smallest, unit)
    if not worth >= smallest:
        raise MinerError("followup.small_worth", worth=worth, unit=unit, need=smallest)
    return worth


MOST_WORTH = 10
"""A difference so many times the smallest worth it is taken for one of the other unit."""


def _in_unit(typed: float, glucose_in: str, smallest: float, unit: str) -> float:
    """Return a difference that was typed in the unit of its outcome.

    Raises:
        MinerError: it is far from any difference in its own unit, and fits the other one.
    """
    if "mg/dL" not in unit:
        return typed
    own, other = (1.0, MG_DL_PER_MMOL_L) if glucose_in == "mg/dL" else (MG_DL_PER_MMOL_L, 1.0)
    worth, meant = typed * own, typed * other
    if not smallest <= worth <= MOST_WORTH * smallest and (
        smallest <= meant <= MOST_WORTH * smallest
    ):
        units = [unit.replace("mg/dL", name) for name in ("mg/dL", "mmol/L")]
        mine, others = units if glucose_in == "mg/dL" else units[::-1]
        raise MinerError(
            "followup.other_unit",
            typed=typed,
            meant=meant,
            own=mine,
            other=others,
            need=smallest,
            unit=unit,
        )
    # what is typed as it is shown, to two digits of mmol/L, is not a little too small
    return smallest if 0 < smallest - worth <= 0.005 * own and own > 1 else worth


def _no_larger(
    worth: float, spread: float, what: FrozenIdea, unit: str
) -> tuple[float, tuple[Words, ...]]:
    """Return the difference, no larger than six pairs can find: beyond it any test says no."""
    most = max(float(what.smallest_worth_it), pairs_detectable(spread, MIN_PAIRS))
    if worth <= most:
        return worth, ()
    return most, (message("followup.six_pairs_find", most=most, unit=unit),)


LEVEL = 0.05
CHANGED, NO_CHANGE, UNSETTLED = "changed", "no_change", "not_settled"


@dataclass(frozen=True, slots=True)
class Shown:
    """What a day of the change looks like in the records.

    Attributes:
        factor: name of the factor column; None where records do not show what was done.
        helpful: "with" or "without" it.
        offset_days: days from a habit's day to the row of its factor.
    """

    factor: str | None
    helpful: str
    offset_days: int


def read_pairs(
    table: UnitTable,
    periods: Sequence[PlanPeriod],
    *,
    outcome: str,
    offset_days: int,
    shown: Shown,
    ticks: Mapping[str, str],
) -> tuple[tuple[PairRead, ...], int]:
    """Return every pair, and on how many days a tick and the records say different things.

    A period's mean is over the usable units whose habit day is in it, the first days that do not
    count left out. A pair was followed where what was planned was done on more than half of the
    days of either period of which anything is known; without a single known day of the change it
    is unknown. A tick says what was done; without one the records do.

    Args:
        table: the client's units, made with the kept definitions.
        periods: of the plan.
        outcome: name of the outcome column.
        offset_days: days from a habit's day to its row of the outcome.
        shown: what a day of the change looks like in the records.
        ticks: ISO date -> "yes", "no" or "forgot".
    """
    seen, differ = [], 0
    for pair in sorted({period.pair for period in periods}):
        both = {period.arm: period for period in periods if period.pair == pair}
        change, n_change = _mean(table, both["change"], outcome, offset_days)
        usual, n_usual = _mean(table, both["usual"], outcome, offset_days)
        done, odd = _done(table, both["change"], shown, ticks)
        told = [ticks.get(day) for day in _days(both["usual"], 0)]
        kept_usual = [tick == "yes" for tick in told if tick in ("yes", "no")]
        differ += odd
        followed = _most(done)
        if followed and kept_usual:
            followed = _most(kept_usual)
        seen.append(PairRead(pair, change, usual, n_change, n_usual, followed))
    return tuple(seen), differ


def test_of(pairs: Sequence[PairRead], seed: int) -> PairsTest:
    """Return the randomisation test of the pairs of which both periods are known."""
    differences = [pair.difference for pair in pairs if pair.difference is not None]
    found: SignFlips = sign_flips(differences, level=LEVEL, seed=seed)
    if isnan(found.p):
        return PairsTest(0, None, None, None, 0)
    n = len(differences)
    return PairsTest(n, found.mean, found.interval, found.p, found.orders, found.exact)


def status_of(test: PairsTest, worth: float) -> str:
    """Return changed, no_change or not_settled.

    Args:
        test: as planned.
        worth: the difference worth having.
    """
    if test.p is not None and test.p <= LEVEL:
        return CHANGED
    if test.interval is not None and -worth < test.interval[0] and test.interval[1] < worth:
        return NO_CHANGE
    return UNSETTLED


def _mean(
    table: UnitTable, period: PlanPeriod, outcome: str, offset: int
) -> tuple[float | None, int]:
    days = set(_days(period, offset)[period.leave_out_days :])
    frame = table.frame
    inside = frame["date"].isin(days).to_numpy(dtype=bool) & frame["usable"].to_numpy(dtype=bool)
    values = frame[outcome].to_numpy(dtype=float)[inside]
    known = values[~np.isnan(values)]
    return (float(known.mean()) if known.size else None), int(known.size)


def _done(
    table: UnitTable, period: PlanPeriod, shown: Shown, ticks: Mapping[str, str]
) -> tuple[list[bool], int]:
    """Return, for each day of the change of which anything is known, whether it was done."""
    done, differ = [], 0
    for day, row in zip(_days(period, 0), _days(period, shown.offset_days), strict=True):
        seen = _recorded(table, row, shown)
        said = {"yes": True, "no": False}.get(ticks.get(day, ""))
        if said is not None and seen is not None and said != seen:
            differ += 1
        told = seen if said is None else said
        if told is not None:
            done.append(told)
    return done, differ


def _recorded(table: UnitTable, row: str, shown: Shown) -> bool | None:
    factor = shown.factor
    if factor is None or factor not in table.frame.columns:
        return None
    values = table.frame[factor].to_numpy(dtype=float)[(table.frame["date"] == row).to_numpy()]
    known = values[~np.isnan(values)]
    if not known.size:
        return None
    share = float((known == (1.0 if shown.helpful == "with" else 0.0)).mean())
    return share > 0.5


def _most(done: Sequence[bool]) -> bool | None:
    return 2 * sum(done) > len(done) if done else None


def _days(period: PlanPeriod, offset: int) -> list[str]:
    first, last = date.fromisoformat(period.first), date.fromisoformat(period.last)
    return [
        (first + timedelta(days=at + offset)).isoformat() for at in range((last - first).days + 1)
    ]
