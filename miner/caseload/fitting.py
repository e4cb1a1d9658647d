"""Every question that may be asked of a pool: its units, its fit, kept or new, and its doubts."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from math import isfinite, nan
from types import UnionType
from typing import TYPE_CHECKING, Any, get_args, get_origin, get_type_hints

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.caseload.question import (
    OwnSlopes,
    PoolFit,
    Units,
    cleared,
    fit_question,
    own_slopes,
    usable,
    usable_dose,
)
from miner.caseload.store import CLIENT, POOLED, PooledUnits, restored, stored
from miner.core.messages import Message
from miner.core.results import Doubt, DoubtCode, Shape
from miner.hypotheses.design import Design, nuisance_source
from miner.rulebook import FactorRule, Guardrails, OutcomeRule, RuleBook
from miner.stats.effects import either, r_of_t, t_quantile
from miner.stats.pooling import within_between
from miner.tables.unit_table import UnitTable

if TYPE_CHECKING:
    from miner.caseload.store import Store


TIME = "time"
NUISANCE, OUTCOME, BY_CLOCK, FACTOR, DOSE = "n:", "y:", "c:", "x:", "d:"
DAY = pd.Timedelta(days=1)


def unit_rows(table: UnitTable, plan: Design) -> pd.DataFrame:
    """Return one row a usable unit.

    Columns: ``time`` (days), ``n:`` what is allowed for in every client (weekend, drift, the
    client's sensors as ``n:sensor 1`` and so on), ``y:`` outcomes, ``c:`` outcomes by the clock,
    ``x:factor@lag`` factors at the lag at which they may meet an outcome, 1 or 0, and of those
    that are measured ``d:factor@lag`` the measure, in multiples of what its slope is for.
    """
    found = {TIME: _times(table, plan)}
    sensors = 0
    for name, column in zip(plan.nuisance_names[1:], plan.nuisance.T[1:], strict=True):
        if name.startswith("sensor "):
            sensors += 1
            name = f"sensor {sensors}"
        found[f"{NUISANCE}{name}"] = column
    for target in plan.targets:
        found[f"{OUTCOME}{target.name}"] = target.values
        found[f"{BY_CLOCK}{target.name}"] = target.by_clock
        for item in target.items:
            found[factor_column(item.factor, item.lag)] = item.values
            if item.dose is not None:
                found[factor_column(item.factor, item.lag, Shape.DOSE)] = item.dose
    return pd.DataFrame({name: np.asarray(found[name], dtype=float) for name in found})


def factor_column(factor: str, lag: int, shape: Shape = Shape.CUT) -> str:
    """Return the name of the column that holds a factor, or its dose, so many days earlier."""
    return f"{DOSE if shape is Shape.DOSE else FACTOR}{factor}@{lag}"


def _times(table: UnitTable, plan: Design) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    if plan.unit == "day":
        return np.asarray(plan.times, dtype=float)
    starts = pd.to_datetime(table.frame.loc[list(plan.names), "start"])
    minutes = starts.groupby(starts).cumcount()  # of two meals at one time the later is a minute on
    return np.asarray((starts - pd.Timestamp(0)) / DAY + minutes / 1440, dtype=float)


MIN_EACH_SIDE = 2


@dataclass(frozen=True, slots=True, eq=False)
class HabitFit:
    """One question by the cut of its factor and by its dose, as far as enough clients have them.

    Attributes:
        fits: at least one; ``units`` how many units each rests on.
        span: of a dose, how far a client's own quarters are apart, the median over clients.
        along: correlation of cut and dose, cleared, where both are fitted; else 1.
    """

    fits: Mapping[Shape, PoolFit]
    units: Mapping[Shape, int]
    span: float
    along: float

    @property
    def shape(self) -> Shape:
        """The shape that speaks: the smaller p, the cut where they are equal."""
        return min(self.fits, key=lambda shape: _p_of(self.fits[shape]))

    @property
    def best(self) -> PoolFit:
        """The fit of that shape."""
        return self.fits[self.shape]

    @property
    def p(self) -> float:
        """Of the better of both, by their correlation; NaN where neither has an answer.

        Both differences are taken to have the freedom of the one that has less.
        """
        alone = _p_of(self.best)
        freedom = [fit.answer.df for fit in self.fits.values() if fit.answer.df is not None]
        if len(freedom) < 2:
            return alone if isfinite(alone) else nan
        df = min(freedom)
        r = r_of_t(t_quantile(alone / 2, df), df)
        return max(alone, either(r, r, self.along, df))


def _p_of(fit: PoolFit) -> float:
    return float("inf") if fit.answer.p is None else fit.answer.p


def questions(columns: Sequence[str], rules: RuleBook, unit: str) -> list[PooledQuestion]:
    """Return every pair of factor and outcome that may meet and has its columns."""
    names = {
        name.removeprefix(FACTOR).rpartition("@")[0] for name in columns if name.startswith(FACTOR)
    }
    found = []
    for outcome, target in rules.outcomes_of(unit).items():
        if f"{OUTCOME}{outcome}" not in columns:
            continue
        for factor in sorted(names):
            rule = rules.factor(factor, unit)
            lag = rule.lag.get(target.window)
            if lag is not None and factor_column(factor, lag) in columns:
                found.append(PooledQuestion(factor, rule, lag, outcome, target))
    return found


def read_usable(
    units: PooledUnits,
    question: PooledQuestion,
    guard: Guardrails,
    unit: str,
    shape: Shape = Shape.CUT,
) -> Units:
    """Read the units of one question, those of clients who can tell something about it."""
    nuisance = [
        name
        for name in units.columns
        if name.startswith(NUISANCE)
        and nuisance_source(name.removeprefix(NUISANCE)) not in question.rule.made_from
    ]
    x, y = factor_column(question.factor, question.lag, shape), f"{OUTCOME}{question.outcome}"
    frame = units.read([TIME, x, y, *nuisance])
    shared = tuple(
        at for at, name in enumerate(nuisance) if not name.startswith(f"{NUISANCE}sensor ")
    )
    found = Units(
        y=_floats(frame, y),
        x=_floats(frame, x),
        clients=frame[CLIENT].to_numpy(dtype=np.intp),
        times=_floats(frame, TIME),
        nuisance=frame[nuisance].fillna(0.0).to_numpy(dtype=float),
        shared=shared,
        rows=np.arange(len(frame)),
    )
    fewest = guard.fewest_days_to_describe if unit == "day" else guard.fewest_meals_to_rank
    least = guard.least_variation_kept
    if shape is Shape.CUT:
        return usable(found, fewest_each_side=MIN_EACH_SIDE, fewest_units=fewest, least_kept=least)
    return usable_dose(
        found,
        fewest_different=guard.fewest_units_each_side,
        largest_tied=guard.largest_share_tied,
        fewest_units=fewest,
        least_kept=least,
    )


@dataclass(frozen=True, slots=True)
class FitTask:
    """One question to fit.

    Attributes:
        at: its place among all.
        least: fewest clients.
        each: predict every client's own slope.
    """

    at: int
    question: PooledQuestion
    units: PooledUnits
    guard: Guardrails
    unit: str
    least: int
    each: bool

    def by_shape(self) -> dict[Shape, Units]:
        """Return the units of the cut and of the dose, each where enough clients have it."""
        lag, factor = self.question.lag, self.question.factor
        found = {
            shape: read_usable(self.units, self.question, self.guard, self.unit, shape)
            for shape in Shape
            if factor_column(factor, lag, shape) in self.units.columns
        }
        return {shape: units for shape, units in found.items() if units.who >= self.least}


def fit_task(task: FitTask) -> tuple[int, HabitFit | None]:
    """Return the question's place and its fit, None where neither shape has enough clients."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        chosen = task.by_shape()
        if not chosen:
            return task.at, None
        fits = {shape: fit_question(units, each=task.each) for shape, units in chosen.items()}
        counts = {shape: int(units.y.size) for shape, units in chosen.items()}
        dose = fits.get(Shape.DOSE)
        span = 1.0 if dose is None else float(np.median(dose.own.spans))
        return task.at, HabitFit(fits, counts, span, _along(chosen))


def own_task(task: FitTask) -> tuple[int, dict[Shape, OwnSlopes]]:
    """Return the question's place and each client's own slope by shape, without a pooled fit."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        return task.at, {shape: own_slopes(units) for shape, units in task.by_shape().items()}


def _along(chosen: Mapping[Shape, Units]) -> float:
    """Return the correlation of cut and dose on the units that have both."""
    if len(chosen) < 2:
        return 1.0
    cut, dose = chosen[Shape.CUT], chosen[Shape.DOSE]
    _, first, second = np.intersect1d(cut.rows, dose.rows, return_indices=True)
    one, other = cleared(cut)[first], cleared(dose)[second]
    size = float(np.sqrt((one @ one) * (other @ other)))
    return float(one @ other) / size if size > 0 else 0.0


def _floats(frame: pd.DataFrame, name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return frame[name].to_numpy(dtype=float)


Floats = NDArray[np.float64]
MIN_LEFT = 0.5


@dataclass(frozen=True, slots=True)
class PooledQuestion:
    """A factor that may come before, or go with, an outcome."""

    factor: str
    rule: FactorRule
    lag: int
    outcome: str
    target: OutcomeRule

    @property
    def relation(self) -> str:
        """Whether the factor comes before the outcome or goes with it."""
        same = self.target.window in self.rule.same_time and self.lag == 0
        return "same_day" if same else "precedes"


@dataclass(frozen=True, slots=True)
class Doubts:
    """What can be asked once more about one pooled question.

    Attributes:
        units: everything of the clients who agreed.
        read: reads the units of a question that can tell something.
    """

    units: PooledUnits
    question: PooledQuestion
    rules: RuleBook
    unit: str
    read: Callable[[], Units]

    def found(self, difference: float) -> tuple[Doubt, ...]:
        """Return why a difference that passes is a hint all the same; empty if it is not."""
        fitted = self.read()
        level = self.rules.guardrails.weekday_level_searched
        others = (
            self._by_clock(fitted, difference),
            weekday_doubt(fitted, difference, level),
        )
        confounders = self._confounders(fitted, difference)
        return (*confounders, *(doubt for doubt in others if doubt is not None))

    def _again(self, fitted: Units, column: str) -> Floats:
        values = self.units.read([column])[column].to_numpy(dtype=float)
        return np.asarray(values[fitted.rows])

    def _confounders(self, fitted: Units, difference: float) -> list[Doubt]:
        found = []
        for name in self.question.rule.confounders:
            beside = [self._left(fitted, difference, column) for column in self._beside(name)]
            left = [share for share in beside if share is None or not share >= MIN_LEFT]
            if left:
                least = None if None in left else min(share for share in left if share is not None)
                found.append(Doubt(DoubtCode.CONFOUNDER, name, least))
        return found

    def _left(self, fitted: Units, difference: float, column: str) -> float | None:
        """Return the share of a difference that a column leaves; None if not fitted."""
        within = within_between(self._again(fitted, column), fitted.clients)[0]
        values = np.nan_to_num(within, nan=0.0)[:, None]
        if not values.any():
            return 1.0
        again = fit_question(fitted, each=False, beside=values).answer
        return None if again.difference is None else again.difference / difference

    def _beside(self, name: str) -> list[str]:
        """Return the columns of a confounder, its cut and its dose."""
        own = self.rules.factors_of(self.unit).get(name)
        lag = None if own is None else own.lag.get(self.question.target.window)
        if lag is None or name == self.question.factor:
            return []
        columns = (factor_column(name, lag, shape) for shape in Shape)
        return [column for column in columns if column in self.units.columns]

    def _by_clock(self, fitted: Units, difference: float) -> Doubt | None:
        if self.question.target.window not in self.question.rule.moves_window:
            return None
        y = self._again(fitted, f"{BY_CLOCK}{self.question.outcome}")
        units = replace(fitted, y=y).only(np.isfinite(y))
        if units.who >= 2:
            again = fit_question(units, each=False).answer
            if (
                again.difference is not None
                and again.p is not None
                and again.difference * difference > 0
                and again.p <= self.rules.guardrails.hint_level
            ):
                return None
        return Doubt(DoubtCode.CLOCK)


def weekday_doubt(units: Units, difference: float, level: float) -> Doubt | None:
    """Return the doubt about a difference that does not hold within weekdays; None where it does.

    A week that clients have in common brings a habit and an outcome together in all of them. What
    each client's own week does differs from client to client, and shows in how far they are apart.

    Args:
        units: of the question.
        difference: as found, not 0.
        level: the largest p at which it holds.
    """
    again = fit_question(_within_weekdays(units), each=False).answer
    left = None if again.difference is None else again.difference / difference
    if left is not None and again.p is not None and left >= MIN_LEFT and again.p <= level:
        return None
    return Doubt(DoubtCode.WEEKDAY, left=left)


def _within_weekdays(units: Units) -> Units:
    """Return the units with what all clients have in common by the weekday taken out."""
    weekday = np.floor(units.times).astype(int) % 7
    days = np.eye(7)[weekday][:, 1:].T
    columns = np.column_stack([within_between(day, units.clients)[0] for day in days])

    def cleared(values: Floats) -> Floats:
        inside = within_between(values, units.clients)[0]
        taken = columns @ np.linalg.lstsq(columns, inside, rcond=1e-9)[0]
        return np.asarray(values - taken)

    return replace(units, x=cleared(units.x), y=cleared(units.y))


class KeptFits:
    """The fits of one pool, a file a question.

    Args:
        store: the work folder; the fits of any other pool in it are removed.
        rests_on: everything the fits rest on: program, rule books, units.
    """

    def __init__(self, store: Store, rests_on: tuple[str | int, ...]) -> None:
        key = hashlib.sha256(repr(rests_on).encode()).hexdigest()[:32]
        self._store, self._key = store, key
        home = store.folder / POOLED
        for path in sorted(home.iterdir()) if home.is_dir() else ():
            if path.name != key:
                shutil.rmtree(path) if path.is_dir() else path.unlink()

    def fit(self, question: PooledQuestion) -> tuple[HabitFit | None] | None:
        """Return what ``fit_task`` found of a question, alone in a tuple; None if not kept."""
        return self._read(question, "fit", HabitFit | None)

    def keep_fit(self, question: PooledQuestion, fit: HabitFit | None) -> None:
        """Keep it."""
        self._write(question, "fit", fit)

    def doubts(self, question: PooledQuestion) -> tuple[Doubt, ...] | None:
        """Return why a difference that passes is a hint all the same; None if not kept."""
        found = self._read(question, "doubts", tuple[Doubt, ...])
        return None if found is None else found[0]

    def keep_doubts(self, question: PooledQuestion, doubts: tuple[Doubt, ...]) -> None:
        """Keep them."""
        self._write(question, "doubts", doubts)

    def _name(self, question: PooledQuestion, what: str) -> str:
        asked = repr((question.factor, question.lag, question.outcome)).encode()
        return f"{POOLED}/{self._key}/{hashlib.sha256(asked).hexdigest()[:32]}-{what}.json"

    def _write(self, question: PooledQuestion, what: str, found: Any) -> None:
        content = json.dumps({what: _plain(found)}).encode()
        self._store.write(self._name(question, what), content)

    def _read(self, question: PooledQuestion, what: str, kind: Any) -> tuple[Any] | None:
        try:
            return (_made(kind, self._store.read_json(self._name(question, what))[what]),)
        except (TypeError, KeyError, ValueError):
            return None


def _plain(value: Any) -> Any:
    """Return what JSON can hold: every number as it is, a code with its values."""
    if isinstance(value, Message):
        return stored(value)
    if is_dataclass(value):
        return {item.name: _plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value.tolist() if isinstance(value, np.ndarray | np.generic) else value


def _made(kind: Any, raw: Any) -> Any:
    """Return a value of a type again, an array or a dataclass that holds some."""
    origin, inner = get_origin(kind), get_args(kind)
    if raw is None or Message in inner:
        return restored(raw)
    if isinstance(kind, UnionType):
        return _made(inner[0], raw)
    if isinstance(kind, type) and is_dataclass(kind):
        hints = get_type_hints(kind)
        return kind(**{item.name: _made(hints[item.name], raw[item.name]) for item in fields(kind)})
    if origin is np.ndarray:
        (dtype,) = get_args(inner[1])
        return np.asarray(raw, dtype=None if dtype is np.generic else dtype)
    if isinstance(raw, dict):
        return {inner[0](key): _made(inner[1], item) for key, item in raw.items()}
    if isinstance(raw, list):
        return tuple(_made(inner[0], item) for item in raw)
    return kind(raw)
