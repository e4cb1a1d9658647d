"""From a unit table to what is tested: usable units, outcomes, the items each may meet, IDs."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.period import EVER
from miner.stats.scores import normal_scores
from miner.tables.labels import higher_quarter

if TYPE_CHECKING:
    from miner.core.messages import Message
    from miner.core.period import Period
    from miner.rulebook import FactorRule, Guardrails, OutcomeRule, RuleBook
    from miner.stats.dependence import Spectrum
    from miner.tables.unit_table import UnitTable

Floats = NDArray[np.float64]
_Columns = dict[tuple[str, int], tuple[Floats, Floats | None]]
"""Values and dose of a factor at a lag: outcomes of one window share them."""
Progress = Callable[[str, float], None]

_SOURCES = {
    "weekend": "rest_day",
    "drift": "day_number",
    "sensor ": "sensor",
    "meal ": "meal",
    "carbohydrate": "carbs_g",
    "baseline": "baseline",
}
"""What nuisance columns are made of, by how their names start."""


@dataclass(frozen=True, slots=True)
class Item:
    """One factor at the lag at which it may meet an outcome.

    Attributes:
        values: shape (n,), 1 yes, 0 no, NaN unknown, over the usable units.
        dose: shape (n,), the measure in multiples of ``rule.per``, more of it being more of the
            habit (so hours of sleep are counted down); None if it is not a dose.
    """

    factor: str
    rule: FactorRule
    lag: int
    relation: str
    values: Floats
    dose: Floats | None = None

    def among(self, chosen: NDArray[np.bool_]) -> Item:
        """Return the same on some of the units."""
        dose = None if self.dose is None else self.dose[chosen]
        return replace(self, values=self.values[chosen], dose=dose)


@dataclass(frozen=True, slots=True)
class Target:
    """One outcome over the usable units, and the items that may come before or go with it.

    Attributes:
        values: shape (n,), the outcome's own unit, NaN unknown.
        by_clock: shape (n,), the same read from windows fixed by the clock.
        high: shape (n,), 1 in the client's higher quarter, 0 not, NaN no label.
    """

    name: str
    rule: OutcomeRule
    values: Floats
    by_clock: Floats
    high: Floats
    items: tuple[Item, ...]

    @property
    def known(self) -> NDArray[np.bool_]:
        """Units on which the outcome is known, shape (n,)."""
        return ~np.isnan(self.values)

    def among(self, chosen: NDArray[np.bool_]) -> Target:
        """Return the same on some of the units."""
        return replace(
            self,
            values=self.values[chosen],
            by_clock=self.by_clock[chosen],
            high=self.high[chosen],
            items=tuple(item.among(chosen) for item in self.items),
        )


@dataclass(frozen=True, slots=True)
class Design:
    """All that is tested on one client's units.

    Attributes:
        table: days or meals, with ``rules`` the rule books.
        names: shape (n,), unit names.
        times: shape (n,), days; equal for units of one day.
        nuisance: shape (n, p), intercept first.
        nuisance_names: what each nuisance column allows for.
        asked: names of the table's units in the period asked for, used or not.
    """

    table: UnitTable
    rules: RuleBook
    names: tuple[str, ...]
    times: Floats
    nuisance: Floats
    nuisance_names: tuple[str, ...]
    targets: tuple[Target, ...]
    asked: frozenset[str]

    @property
    def unit(self) -> str:
        """Return "day" or "meal"."""
        return self.table.unit

    @property
    def guard(self) -> Guardrails:
        """The guardrails."""
        return self.rules.guardrails

    @property
    def dates(self) -> list[str]:
        """ISO date of each unit."""
        dates: list[str] = self.table.frame.loc[list(self.names), "date"].astype(str).tolist()
        return dates

    @property
    def nuisance_sources(self) -> tuple[str, ...]:
        """The column of the table that each nuisance column is made of, "" of the intercept."""
        return tuple(map(nuisance_source, self.nuisance_names))

    @property
    def left_out(self) -> int:
        """How many units of the period are not used."""
        return len(self.asked) - len(self.names)

    @property
    def need(self) -> int:
        """The fewest usable units that are ranked."""
        guard = self.guard
        return guard.fewest_days_to_rank if self.unit == "day" else guard.fewest_meals_to_rank

    @property
    def searched(self) -> tuple[Target, ...]:
        """The outcomes that the search looks at."""
        return tuple(target for target in self.targets if not target.rule.asked_only)

    def target(self, name: str) -> Target:
        """Return the outcome of that name."""
        return next(target for target in self.targets if target.name == name)

    def made_from(self, items: Iterable[Item]) -> frozenset[str]:
        """Return the nuisance that some factors are made from: they are tested without it."""
        made = {name for item in items for name in item.rule.made_from}
        return frozenset(made.intersection(self.nuisance_sources))

    @property
    def default_primary(self) -> str:
        """The primary outcome: time above the range, or the mean where that is mostly none."""
        names = [target.name for target in self.searched]
        if self.unit == "meal":
            return "rise" if "rise" in names else names[0]
        above = self.target("minutes_above").values if "minutes_above" in names else np.empty(0)
        above = above[~np.isnan(above)]
        if len(above) and (above == 0).mean() <= 0.5:
            return "minutes_above"
        return "day_mean" if "day_mean" in names else names[0]


def design(table: UnitTable, rules: RuleBook, period: Period = EVER) -> Design:
    """Collect what is tested on the days of a period, by the rule book's lags."""
    frame = table.frame
    inside = period.among(frame["date"])
    used = (frame["usable"].astype(bool) & inside).to_numpy(dtype=bool)
    part = frame[used]
    nuisance = _nuisance(part, rules.guardrails.sensor_level_from_days)
    drawn: _Columns = {}
    return Design(
        table,
        rules,
        tuple(str(name) for name in part.index),
        part["day_number"].to_numpy(dtype=float),
        np.column_stack(list(nuisance.values())),
        tuple(nuisance),
        tuple(_target(table, rules, name, used, drawn) for name in table.outcomes),
        frozenset(frame.index[inside].astype(str)),
    )


def _target(
    table: UnitTable, rules: RuleBook, name: str, used: NDArray[np.bool_], drawn: _Columns
) -> Target:
    rule = rules.outcome(name, table.unit)
    days = table.frame["day_number"].to_numpy()
    items = []
    for factor in table.factors:
        own = rules.factor(factor, table.unit)
        lag = own.lag.get(rule.window)
        if lag is None or own.unit != table.unit:
            continue
        if (factor, lag) not in drawn:
            values = earlier(table.frame[factor].to_numpy(dtype=float), days, lag)[used]
            dose = _dose(table, factor, own)
            dose = None if dose is None else earlier(dose, days, lag)[used]
            drawn[factor, lag] = values, dose
        relation = "same_day" if rule.window in own.same_time and lag == 0 else "precedes"
        items.append(Item(factor, own, lag, relation, *drawn[factor, lag]))
    return Target(
        name,
        rule,
        table.frame[name].to_numpy(dtype=float)[used],
        table.by_clock[name].to_numpy(dtype=float)[used],
        higher_quarter(table, name, rules).to_numpy(dtype=float)[used],
        tuple(items),
    )


def _dose(table: UnitTable, name: str, factor: FactorRule) -> Floats | None:
    if not factor.dose or factor.per is None:
        return None
    amount: Floats = table.measures[name].to_numpy(dtype=float) / factor.per
    return -amount if factor.towards_less else amount


def lagged(frame: pd.DataFrame, column: str, lag: int) -> Floats:
    """Return a column as it was ``lag`` days earlier, NaN after a gap, shape (rows,)."""
    return earlier(frame[column].to_numpy(dtype=float), frame["day_number"].to_numpy(), lag)


def earlier(values: Floats, days: NDArray[np.int64], lag: int) -> Floats:
    """Return what values were ``lag`` days earlier, NaN after a gap, shape (rows,)."""
    if lag == 0 or not len(values):
        return values
    place = np.minimum(np.searchsorted(days, days - lag), len(days) - 1)
    found: Floats = np.where(days[place] == days - lag, values[place], np.nan)
    return found


def _nuisance(part: pd.DataFrame, least_days: int) -> dict[str, Floats]:
    days = part["day_number"].to_numpy(dtype=float)
    columns: dict[str, Floats] = {
        "intercept": np.ones(len(part)),
        "weekend": part["rest_day"].to_numpy(dtype=float),
        "drift": days - days.mean() if len(days) else days,
    }
    sensor = part["sensor"].astype(str)
    for label in sorted(set(sensor) - {""}):
        if part["date"][sensor == label].nunique() >= least_days:
            columns[f"sensor {label}"] = np.asarray(sensor == label, dtype=float)
    if "meal" not in part.columns:
        return columns
    meal = part["meal"].astype(str)
    for label in sorted(set(meal))[1:]:
        columns[f"meal {label}"] = np.asarray(meal == label, dtype=float)
    # The level a meal begins at holds what came before it: without it the rise of an earlier meal
    # is taken for that of the snack soon after.
    for column, name in (("carbs_g", "carbohydrate"), ("baseline", "baseline")):
        amount = part[column].to_numpy(dtype=float) if column in part.columns else np.empty(0)
        known = ~np.isnan(amount)
        if known.sum() >= 2:
            columns[name] = np.where(known, amount - amount[known].mean(), 0.0)
            columns[f"{name} unknown"] = np.asarray(~known, dtype=float)
    return columns


def nuisance_source(name: str) -> str:
    """Return the column of the table that a nuisance column of that name is made of."""
    return next((source for start, source in _SOURCES.items() if name.startswith(start)), "")


WHOLE_DAY = "whole_day"
LEAST_KNOWN = 0.5


def with_whole_day(table: UnitTable, rules: RuleBook) -> UnitTable:
    """Return the table with the mean of each day's outcomes as one more; of meals as it is.

    The outcomes of a waking day and those of the night after it, each as normal scores over the
    usable days, worse side up. A day on which fewer than half are known has none.
    """
    if table.unit != "day" or WHOLE_DAY in table.outcomes or WHOLE_DAY not in rules.outcomes:
        return table
    used = table.frame["usable"].to_numpy(dtype=bool)
    days = table.frame["day_number"].to_numpy(dtype=np.int64)
    made = [
        pd.Series(_mean(frame, table.outcomes, rules, used, days), frame.index, name=WHOLE_DAY)
        for frame in (table.frame, table.by_clock)
    ]
    return replace(
        table,
        frame=pd.concat([table.frame, made[0]], axis=1),
        by_clock=pd.concat([table.by_clock, made[1]], axis=1),
        outcomes=(*table.outcomes, WHOLE_DAY),
    )


def _mean(
    frame: pd.DataFrame,
    outcomes: tuple[str, ...],
    rules: RuleBook,
    used: NDArray[np.bool_],
    days: NDArray[np.int64],
) -> Floats:
    columns = []
    for name in outcomes:
        rule = rules.outcome(name)
        values = np.where(used, frame[name].to_numpy(dtype=float), np.nan)
        scores = np.full(len(values), np.nan)
        known = ~np.isnan(values)
        scores[known] = normal_scores(values[known])
        if rule.window != "day":
            scores = earlier(scores, days, -1)  # the night after belongs to the next day's row
        columns.append(scores if rule.worse == "higher" else -scores)
    stack = np.column_stack(columns) if columns else np.empty((len(used), 0))
    count = (~np.isnan(stack)).sum(axis=1)
    enough = (count >= LEAST_KNOWN * stack.shape[1]) & (count > 0)
    total = np.where(np.isnan(stack), 0.0, stack).sum(axis=1)
    return np.asarray(np.where(enough, total / np.maximum(count, 1), np.nan))


def identity(items: Iterable[Item], outcome: str, rule: OutcomeRule) -> str:
    """Return eight hexadecimal digits of factors, lags, outcome and their definitions."""
    parts = sorted((item.factor, item.lag, factor_definition(item.rule)) for item in items)
    text = json.dumps([parts, outcome, outcome_definition(rule)], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def identity_in_rules(factor: str, outcome: str, unit: str, rules: RuleBook) -> str:
    """Return the ID that one factor with one outcome has in some rule books, before any records.

    Raises:
        MinerError: a name is unknown.
        KeyError: the factor never meets the outcome.
    """
    rule, target = rules.factor(factor, unit), rules.outcome(outcome, unit)
    item = Item(factor, rule, rule.lag[target.window], "precedes", np.empty(0))
    return identity([item], outcome, target)


def factor_definition(rule: FactorRule) -> dict[str, object]:
    """Return what makes a factor what it is, words and advice left out."""
    keys = ("unit", "stream", "column", "measure", "measure_unit", "cut", "at", "clock")
    return {key: getattr(rule, key) for key in keys}


def outcome_definition(rule: OutcomeRule) -> dict[str, object]:
    """Return what makes an outcome what it is."""
    return {
        key: getattr(rule, key)
        for key in ("unit", "definition", "measure_unit", "window", "coverage", "worse")
    }


@dataclass(frozen=True, slots=True)
class Question:
    """One question: does this factor come before, or go with, this outcome?

    Attributes:
        guess: "up", "down" or None, as written down; it makes the test one-sided.
        fixed_on: ISO date; only units that start after it count. None: all units count.
        proven: whether the ledger shows the date. If not, it is only what was said.
        doubt: why the answer is a hint at most, for example because these records had been ranked
            before it was fixed; None without a reason.
        shape: "cut" or "dose" where one was named; None tests both.
        seen: ISO dates after it that do not count, because their readings had been looked at before
            it was fixed, under other dates.
    """

    factor: str
    outcome: str
    guess: str | None = None
    fixed_on: str | None = None
    proven: bool = False
    doubt: Message | None = None
    shape: str | None = None
    seen: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Run:
    """How chance is drawn, and what calls on the same days share.

    Attributes:
        draws: permutations; by default the rule book's.
        seed: of everything drawn.
        workers: processes for a search of many months. No answer depends on their number.
        progress: called with what is being done and the share done.
        spectra: decompositions made so far, by the units known; added to.
    """

    draws: int | None = None
    seed: int = 0
    workers: int = 1
    progress: Progress | None = None
    spectra: dict[bytes, Spectrum] = field(default_factory=dict)
