"""How often this analysis would claim something on months like this client's."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from math import isnan
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results import ErrorRate, Evidence, FoundRate
from miner.hypotheses.candidates import singles
from miner.hypotheses.design import Design, Run, design
from miner.hypotheses.guard import judge_all
from miner.hypotheses.search import search
from miner.hypotheses.tested import Spectra, whitened
from miner.stats.dependence import Pattern, imitate, scatter_together
from miner.stats.effects import independent
from miner.stats.proportions import clopper_pearson
from miner.stats.scores import normal_scores

if TYPE_CHECKING:
    from miner.rulebook import RuleBook
    from miner.tables.unit_table import UnitTable


Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Model:
    """A client's months to come, as the records describe them when nothing is true.

    Attributes:
        rows: shape (n,), the usable rows of the table.
        patterns: one an outcome that can be ranked.
        together: correlation of the outcomes' scatter.
        cause: item and outcome that are true in the months with an effect, and its column.
    """

    table: UnitTable
    rows: NDArray[np.bool_]
    times: Floats
    names: tuple[str, ...]
    patterns: tuple[Pattern, ...]
    together: Floats
    cause: tuple[str, str, Floats] | None
    unit_sd: float


def model(table: UnitTable, rules: RuleBook, primary: str) -> Model:
    """Fit level, nuisance, dependence and scatter of every outcome.

    What a factor is made from is scatter here: in a month in which nothing is true it is not true.
    """
    plan = design(table, rules)
    rows = table.frame["usable"].to_numpy(dtype=bool)
    spectra: Spectra = {}
    names, patterns, scatter = [], [], []
    unit_sd = float("nan")
    for target in plan.searched:
        fitted_all = whitened(plan, target.values, spectra)
        if fitted_all is None:
            continue
        names_left = plan.made_from(target.items)
        white = fitted_all.without(names_left)
        scores = normal_scores(target.values[white.known])
        nuisance = white.columns[:, independent(white.columns)]
        spread = float(np.sqrt(white.scores @ white.scores / (len(scores) - white.rank)))
        fitted = np.zeros(len(target.values))
        fitted[white.known] = nuisance @ np.linalg.lstsq(nuisance, scores, rcond=None)[0]
        column = np.full(len(target.values), np.nan)
        column[white.known] = white.scores / spread
        names.append(target.name)
        patterns.append(Pattern(target.values, fitted, spread, white.dependence))
        scatter.append(column)
        if target.name == primary:
            unit_sd = white.unit_sd
    together = scatter_together(np.column_stack(scatter)) if scatter else np.empty((0, 0))
    return Model(
        table,
        rows,
        plan.times,
        tuple(names),
        tuple(patterns),
        together,
        None if isnan(unit_sd) else _cause(plan, primary),
        unit_sd,
    )


def world(fitted: Model, rng: np.random.Generator, shift: float = 0.0) -> UnitTable:
    """Draw one month; ``shift`` is added to the true outcome on the units with the factor.

    Args:
        fitted: the client's model.
        rng: the source of chance.
        shift: in the outcome's own unit; 0 for a month in which nothing is true.
    """
    drawn = imitate(list(fitted.patterns), fitted.times, fitted.together, rng)
    frame = fitted.table.frame.copy()
    for name, values in zip(fitted.names, drawn, strict=True):
        if shift and fitted.cause is not None and name == fitted.cause[1]:
            values = values + shift * np.nan_to_num(fitted.cause[2])
        column = np.full(len(frame), np.nan)
        column[fitted.rows] = values
        frame[name] = column
    outcomes = list(fitted.table.outcomes)
    return replace(fitted.table, frame=frame, by_clock=frame[outcomes].copy())


def _cause(plan: Design, primary: str) -> tuple[str, str, Floats] | None:
    """Return the factor of middling frequency among those that can be tested."""
    target = plan.target(primary)
    open_rules = [rule for rule in singles(plan, target) if rule.withheld is None]
    if not open_rules:
        return None
    open_rules.sort(key=lambda rule: (rule.counts.with_, rule.items))
    middle = open_rules[len(open_rules) // 2]
    return target.items[middle.items[0]].factor, primary, middle.values


WEEK = 7


def weeks_of(table: UnitTable) -> NDArray[np.intp]:
    """Return where each row finds its habits when they are moved by so many weeks.

    A day meets the day of another week, a meal the same meal of it (the second snack the second).

    Returns:
        Shape (weeks - 1, rows): the row that is 1, 2, ... weeks later, from the last week on to
        the first; -1 where there is none.
    """
    frame = table.frame
    days = frame["day_number"].to_numpy(dtype=int)
    if not len(days):
        return np.empty((0, 0), dtype=np.intp)
    meal = frame["meal"].astype(str) if "meal" in frame else pd.Series("", index=frame.index)
    order = frame.groupby([frame["day_number"], meal]).cumcount()
    offsets = days - days.min()
    weeks = int(offsets.max()) // WEEK + 1
    rows = pd.MultiIndex.from_arrays([offsets, meal, order])
    found = [
        rows.get_indexer(pd.MultiIndex.from_arrays([later % (WEEK * weeks), meal, order]))
        for later in (offsets + WEEK * shift for shift in range(1, weeks))
    ]
    return np.array(found, dtype=np.intp).reshape(weeks - 1, len(days))


def moved(table: UnitTable, weeks: NDArray[np.intp], rng: np.random.Generator) -> UnitTable:
    """Return a month with every habit moved by some whole weeks of its own, drawn by chance.

    What would come from outside the record is unknown.

    Args:
        table: a record of at least two weeks.
        weeks: of it, as ``weeks_of`` returns them.
        rng: the source of chance.
    """
    frame, measures = table.frame.copy(), table.measures.copy()
    for name in table.factors:
        source = weeks[rng.integers(len(weeks))]
        for columns in (frame, measures):
            if name in columns:
                values = columns[name].to_numpy(dtype=float)
                columns[name] = np.where(source >= 0, values[source], np.nan)
    return replace(table, frame=frame, measures=measures)


SHIFTS = (0.5, 1.0, 1.5, 2.0)
BATCH = 10
MODELLED, MOVED = "modelled", "moved"
Kind = float | str
"""What months are: MODELLED, MOVED, or how large the effect that is true in them."""
_Task = tuple[Kind, list[int]]
"""Months of one kind, by their seeds."""


@dataclass(frozen=True, slots=True)
class _Job:
    """What every month is made from and ranked by."""

    fitted: Model
    weeks: NDArray[np.intp]
    rules: RuleBook
    primary: str
    draws: int


def error_rate(
    table: UnitTable,
    rules: RuleBook,
    client: str,
    run: Run,
    *,
    worlds: int = 200,
    primary: str | None = None,
) -> ErrorRate:
    """Run the whole search on months in which nothing is true; a quarter as many a true effect.

    Months of two kinds: with outcomes drawn as the records describe them, and with the outcomes as
    recorded and each habit moved by whole weeks.

    Args:
        table: the client's days or meals.
        rules: the rule books.
        client: the client's code.
        run: draws of each month, the seed of all; an interrupt by its progress ends early.
        worlds: months of each kind in which nothing is true.
        primary: as in the ranking.
    """
    plan = design(table, rules)
    usable, draws = len(plan.names), run.draws or rules.guardrails.draws
    made, claimed = Counter[Kind](), Counter[Kind]()
    cause, finished, found = None, True, []
    if usable >= plan.need:
        main = primary or plan.default_primary
        fitted = model(table, rules, main)
        cause = fitted.cause
        tasks = _tasks(worlds, run.seed, with_effects=cause is not None)
        job = _Job(fitted, weeks_of(table), rules, main, draws)
        finished = _simulated(job, tasks, run, made, claimed)
        unit = rules.outcome(main, table.unit).measure_unit
        found = [
            FoundRate(shift * fitted.unit_sd, unit, n, hits, *_rate(hits, n))
            for shift, n, hits in ((each, made[each], claimed[each]) for each in SHIFTS if cause)
        ]
    rate, interval = _rate(claimed[MODELLED], made[MODELLED])
    return ErrorRate(
        client=client,
        worlds=made[MODELLED],
        draws=draws,
        seed=run.seed,
        claimed=claimed[MODELLED],
        any_claim_rate=rate,
        any_claim_interval=interval,
        nominal=rules.guardrails.claim_level,
        factor=cause[0] if cause else None,
        outcome=cause[1] if cause else None,
        found_rate_at=tuple(found),
        usable_units=usable,
        finished=finished,
        moved=made[MOVED],
        moved_claimed=claimed[MOVED],
    )


def _rate(hits: int, worlds: int) -> tuple[float | None, tuple[float, float] | None]:
    return (hits / worlds, clopper_pearson(hits, worlds)) if worlds else (None, None)


def _tasks(worlds: int, seed: int, *, with_effects: bool) -> list[_Task]:
    kinds: dict[Kind, int] = {MODELLED: worlds, MOVED: worlds}
    if with_effects:
        kinds |= dict.fromkeys(SHIFTS, max(1, worlds // 4))
    seeds = np.random.SeedSequence(seed).generate_state(sum(kinds.values()), np.uint64).tolist()
    tasks, begin = [], 0
    for kind, number in kinds.items():
        end = begin + number
        tasks += [(kind, seeds[at : min(at + BATCH, end)]) for at in range(begin, end, BATCH)]
        begin = end
    return tasks


def _simulated(
    job: _Job, tasks: list[_Task], run: Run, made: Counter[Kind], claimed: Counter[Kind]
) -> bool:
    """Count the months of each kind, and those with a claim; say whether it was not interrupted."""
    from joblib import Parallel, delayed

    pool = Parallel(n_jobs=run.workers, return_as="generator")
    try:
        found = pool(delayed(_batch)(job, task) for task in tasks)
        for done, ((kind, seeds), hits) in enumerate(zip(tasks, found, strict=True), start=1):
            made[kind] += len(seeds)
            claimed[kind] += hits
            if run.progress is not None:
                run.progress("Simulating months", done / len(tasks))
    except KeyboardInterrupt:
        return False
    return True


def _batch(job: _Job, task: _Task) -> int:
    """Return in how many months what is true was found, or, where nothing is, anything claimed."""
    spectra: Spectra = {}
    kind, seeds = task
    hits, cause = 0, job.fitted.cause
    for seed in seeds:
        clear = claims(_month(job, kind, seed), job, seed % 2**32, spectra)
        if isinstance(kind, str) or cause is None:
            hits += bool(clear)
        else:
            hits += ((cause[0],), cause[1]) in clear
    return hits


def _month(job: _Job, kind: Kind, seed: int) -> UnitTable:
    rng = np.random.default_rng(seed)
    if kind == MOVED:
        return moved(job.fitted.table, job.weeks, rng)
    size = kind * job.fitted.unit_sd if isinstance(kind, float) else 0.0
    return world(job.fitted, rng, size)


def claims(
    table: UnitTable, job: _Job, seed: int, spectra: Spectra
) -> set[tuple[tuple[str, ...], str]]:
    """Return what the search of a ranking would call clear: factors and outcome of each."""
    run = Run(job.draws, seed, spectra=spectra)
    found = search(design(table, job.rules), job.primary, run)
    return {
        (item.test.factors, item.test.target.name)
        for item in judge_all(found.tests)
        if item.evidence is Evidence.CLEAR
    }
