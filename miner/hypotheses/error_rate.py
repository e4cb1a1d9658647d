"""How often this analysis would claim something on months like this client's."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results import ErrorRate, Evidence, FoundRate
from miner.hypotheses.design import design
from miner.hypotheses.guard import judge_all
from miner.hypotheses.search import search
from miner.hypotheses.tested import Spectra
from miner.hypotheses.worlds import Model, model, world
from miner.rulebook import RuleBook
from miner.stats.proportions import clopper_pearson
from miner.tables.unit_table import UnitTable

WEEK = 7


@dataclass(frozen=True, slots=True)
class Weeks:
    """Where each row of a table finds its habits when they are moved by so many weeks.

    Attributes:
        sources: shape (weeks - 1, rows); the row that lies 1, 2, ... weeks later, from the last
            week on to the first; -1 where there is none.
    """

    table: UnitTable
    sources: NDArray[np.intp]

    @property
    def shifts(self) -> int:
        """By how many different numbers of weeks a habit can be moved."""
        return len(self.sources)


def weeks_of(table: UnitTable) -> Weeks:
    """Return the table with where its rows lie, whole weeks apart.

    A day meets the day of another week, a meal the same meal of it (the second snack the second).
    """
    days = table.frame["day_number"].to_numpy(dtype=int)
    slots = _slots(table.frame)
    if not len(days):
        return Weeks(table, np.empty((0, 0), dtype=np.intp))
    offsets = days - days.min()
    weeks = int(offsets.max()) // WEEK + 1
    place = {key: at for at, key in enumerate(zip(offsets.tolist(), slots, strict=True))}
    sources = [
        [
            place.get(((day + WEEK * shift) % (WEEK * weeks), slot), -1)
            for day, slot in zip(offsets.tolist(), slots, strict=True)
        ]
        for shift in range(1, weeks)
    ]
    return Weeks(table, np.array(sources, dtype=np.intp).reshape(weeks - 1, len(days)))


def moved(weeks: Weeks, rng: np.random.Generator) -> UnitTable:
    """Return a month with every habit moved by some whole weeks of its own, drawn by chance.

    What would come from outside the record is unknown.

    Args:
        weeks: of a record of at least two weeks.
        rng: the source of chance.
    """
    table = weeks.table
    frame, measures = table.frame.copy(), table.measures.copy()
    for name in table.factors:
        source = weeks.sources[rng.integers(weeks.shifts)]
        for columns in (frame, measures):
            if name in columns:
                values = columns[name].to_numpy(dtype=float)
                columns[name] = np.where(source >= 0, values[source], np.nan)
    return replace(table, frame=frame, measures=measures)


def _slots(frame: pd.DataFrame) -> list[tuple[str, int]]:
    """Return what tells the rows of one day apart: the meal, and which of its kind it is."""
    meal = frame["meal"].astype(str) if "meal" in frame else pd.Series("", index=frame.index)
    order = frame.groupby([frame["day_number"], meal]).cumcount()
    return list(zip(meal.tolist(), order.tolist(), strict=True))


SHIFTS = (0.5, 1.0, 1.5, 2.0)
BATCH = 10
MODELLED, MOVED = "modelled", "moved"
Kind = float | str
"""What months are: MODELLED, MOVED, or how large the effect that is true in them."""


@dataclass(frozen=True, slots=True)
class _Task:
    kind: Kind
    seeds: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Job:
    """What every month is made from and ranked by."""

    fitted: Model
    weeks: Weeks
    rules: RuleBook
    primary: str
    draws: int


@dataclass(slots=True)
class _Tally:
    worlds: int = 0
    hits: int = 0


def error_rate(
    table: UnitTable,
    rules: RuleBook,
    *,
    client: str,
    worlds: int = 200,
    draws: int = 1000,
    seed: int = 0,
    workers: int = 1,
    primary: str | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> ErrorRate:
    """Run the whole search on months in which nothing is true; a quarter as many a true effect.

    Months of two kinds: with outcomes drawn as the records describe them, and with the outcomes as
    recorded and each habit moved by whole weeks.

    Args:
        table: the client's days or meals.
        rules: the rule books.
        client: the client's code.
        worlds: months of each kind in which nothing is true.
        draws: permutations a month.
        seed: of everything drawn.
        workers: processes; the answer does not depend on it.
        primary: as in the ranking.
        progress: told what is being done and the share done; an interrupt ends early.
    """
    plan = design(table, rules)
    usable = len(plan.names)
    empty = ErrorRate(
        client=client,
        worlds=0,
        draws=draws,
        seed=seed,
        claimed=0,
        any_claim_rate=None,
        any_claim_interval=None,
        nominal=rules.guardrails.claim_level,
        factor=None,
        outcome=None,
        found_rate_at=(),
        usable_units=usable,
        finished=True,
    )
    guard = rules.guardrails
    if usable < (guard.fewest_days_to_rank if table.unit == "day" else guard.fewest_meals_to_rank):
        return empty
    main = primary or plan.default_primary
    job = _Job(model(table, rules, main), weeks_of(table), rules, main, draws)
    tallies = {kind: _Tally() for kind in (MODELLED, MOVED, *SHIFTS)}
    finished = True
    tasks = _tasks(worlds, seed, with_effects=job.fitted.cause is not None)
    done = 0
    try:
        for task, hits in _run(job, tasks, workers):
            tallies[task.kind].worlds += len(task.seeds)
            tallies[task.kind].hits += hits
            done += 1
            if progress is not None:
                progress("Simulating months", done / len(tasks))
    except KeyboardInterrupt:
        finished = False
    return _result(empty, job.fitted, rules, tallies, finished)


def _tasks(worlds: int, seed: int, *, with_effects: bool) -> list[_Task]:
    kinds: dict[Kind, int] = {MODELLED: worlds, MOVED: worlds}
    if with_effects:
        kinds |= dict.fromkeys(SHIFTS, max(1, worlds // 4))
    seeds = np.random.SeedSequence(seed).generate_state(sum(kinds.values()), np.uint64)
    tasks, begin = [], 0
    for kind, number in kinds.items():
        own = [int(item) for item in seeds[begin : begin + number]]
        tasks += [_Task(kind, tuple(own[at : at + BATCH])) for at in range(0, number, BATCH)]
        begin += number
    return tasks


def _run(job: _Job, tasks: list[_Task], workers: int) -> Iterator[tuple[_Task, int]]:
    if workers <= 1:
        for task in tasks:
            yield _batch(job, task)
        return
    from joblib import Parallel, delayed

    pool = Parallel(n_jobs=workers, return_as="generator")
    yield from pool(delayed(_batch)(job, task) for task in tasks)


def _batch(job: _Job, task: _Task) -> tuple[_Task, int]:
    cache: Spectra = {}
    hits = 0
    for seed in task.seeds:
        clear = claims(_month(job, task.kind, seed), job, seed % 2**32, cache)
        if isinstance(task.kind, str) or job.fitted.cause is None:
            hits += bool(clear)
        else:
            factor, outcome, _ = job.fitted.cause
            hits += ((factor,), outcome) in clear
    return task, hits


def _month(job: _Job, kind: Kind, seed: int) -> UnitTable:
    rng = np.random.default_rng(seed)
    if kind == MOVED:
        return moved(job.weeks, rng)
    size = kind * job.fitted.unit_sd if isinstance(kind, float) else 0.0
    return world(job.fitted, rng, size)


def claims(
    table: UnitTable, job: _Job, seed: int, cache: Spectra
) -> set[tuple[tuple[str, ...], str]]:
    """Return what the search of a ranking would call clear: factors and outcome of each."""
    guard = job.rules.guardrails
    found = search(
        design(table, job.rules), job.primary, guard, draws=job.draws, seed=seed, spectra=cache
    )
    return {
        (
            tuple(item.test.target.items[at].factor for at in item.test.rule.items),
            item.test.target.name,
        )
        for item in judge_all(found.outcomes, found.tests, guard)
        if item.evidence is Evidence.CLEAR
    }


def _result(
    empty: ErrorRate,
    fitted: Model,
    rules: RuleBook,
    tallies: dict[Kind, _Tally],
    finished: bool,
) -> ErrorRate:
    null, weeks = tallies[MODELLED], tallies[MOVED]
    unit = rules.outcome(fitted.cause[1], fitted.table.unit).measure_unit if fitted.cause else ""
    found = tuple(
        FoundRate(
            shift * fitted.unit_sd,
            unit,
            tally.worlds,
            tally.hits,
            tally.hits / tally.worlds if tally.worlds else None,
            clopper_pearson(tally.hits, tally.worlds) if tally.worlds else None,
        )
        for shift, tally in tallies.items()
        if isinstance(shift, float) and fitted.cause
    )
    return ErrorRate(
        client=empty.client,
        worlds=null.worlds,
        draws=empty.draws,
        seed=empty.seed,
        claimed=null.hits,
        any_claim_rate=null.hits / null.worlds if null.worlds else None,
        any_claim_interval=clopper_pearson(null.hits, null.worlds) if null.worlds else None,
        nominal=empty.nominal,
        factor=fitted.cause[0] if fitted.cause else None,
        outcome=fitted.cause[1] if fitted.cause else None,
        found_rate_at=found,
        usable_units=empty.usable_units,
        finished=finished,
        moved=weeks.worlds,
        moved_claimed=weeks.hits,
    )
