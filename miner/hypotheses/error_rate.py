"""How often this analysis would claim something on months like this client's."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from miner.hypotheses.design import design
from miner.hypotheses.rank import default_primary, rank_table
from miner.hypotheses.whitened import Spectra
from miner.hypotheses.worlds import Model, model, world
from miner.results import ErrorRate, Evidence, FoundRate
from miner.rulebook import RuleBook
from miner.stats.proportions import clopper_pearson
from miner.tables.unit_table import UnitTable

SHIFTS = (0.5, 1.0, 1.5, 2.0)
BATCH = 10


@dataclass(frozen=True, slots=True)
class _Task:
    shift: float
    seeds: tuple[int, ...]


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
    """Run the whole ranking on simulated months; a quarter as many a size of true effect.

    Args:
        table: the client's days or meals.
        rules: the rule books.
        client: the client's code.
        worlds: months in which nothing is true.
        draws: permutations a month.
        seed: of everything drawn.
        workers: processes; the answer does not depend on it.
        primary: as in the ranking.
        progress: told what is being done and the share done; an interrupt ends early.
    """
    plan = design(table, rules)
    usable = len(plan.names)
    empty = ErrorRate(
        client, 0, draws, seed, 0, None, None, rules.guardrails.claim_level, None, None, (),
        usable, True,
    )  # fmt: skip
    guard = rules.guardrails
    if usable < (guard.fewest_days_to_rank if table.unit == "day" else guard.fewest_meals_to_rank):
        return empty
    fitted = model(table, rules, primary or default_primary(plan))
    tallies = {shift: _Tally() for shift in (0.0, *SHIFTS)}
    finished = True
    tasks = _tasks(worlds, seed, with_effects=fitted.cause is not None)
    done = 0
    try:
        for task, hits in _run(fitted, rules, tasks, draws, workers):
            tallies[task.shift].worlds += len(task.seeds)
            tallies[task.shift].hits += hits
            done += 1
            if progress is not None:
                progress("Simulating months", done / len(tasks))
    except KeyboardInterrupt:
        finished = False
    return _result(empty, fitted, rules, tallies, finished)


def _tasks(worlds: int, seed: int, *, with_effects: bool) -> list[_Task]:
    shifts = (0.0, *SHIFTS) if with_effects else (0.0,)
    numbers = [worlds if shift == 0 else max(1, worlds // 4) for shift in shifts]
    seeds = np.random.SeedSequence(seed).generate_state(sum(numbers), np.uint64)
    tasks, begin = [], 0
    for shift, number in zip(shifts, numbers, strict=True):
        own = [int(item) for item in seeds[begin : begin + number]]
        tasks += [_Task(shift, tuple(own[at : at + BATCH])) for at in range(0, number, BATCH)]
        begin += number
    return tasks


def _run(
    fitted: Model, rules: RuleBook, tasks: list[_Task], draws: int, workers: int
) -> Iterator[tuple[_Task, int]]:
    if workers <= 1:
        for task in tasks:
            yield _batch(fitted, rules, task, draws)
        return
    from joblib import Parallel, delayed

    pool = Parallel(n_jobs=workers, return_as="generator")
    yield from pool(delayed(_batch)(fitted, rules, task, draws) for task in tasks)


def _batch(fitted: Model, rules: RuleBook, task: _Task, draws: int) -> tuple[_Task, int]:
    cache: Spectra = {}
    hits = 0
    for seed in task.seeds:
        table = world(fitted, np.random.default_rng(seed), task.shift * fitted.wobble)
        ranked = rank_table(
            table, rules, draws=draws, seed=seed % 2**32, spectra=cache,
            primary=fitted.cause[1] if fitted.cause else None,
        )  # fmt: skip
        clear = [item for item in ranked.hypotheses if item.evidence is Evidence.CLEAR]
        if task.shift and fitted.cause is not None:
            factor, outcome, _ = fitted.cause
            hits += any(h.factors == (factor,) and h.outcome == outcome for h in clear)
        else:
            hits += bool(clear)
    return task, hits


def _result(
    empty: ErrorRate,
    fitted: Model,
    rules: RuleBook,
    tallies: dict[float, _Tally],
    finished: bool,
) -> ErrorRate:
    null = tallies[0.0]
    unit = rules.outcome(fitted.cause[1], fitted.table.unit).measure_unit if fitted.cause else ""
    found = tuple(
        FoundRate(
            shift * fitted.wobble, unit, tally.worlds, tally.hits,
            tally.hits / tally.worlds if tally.worlds else None,
            clopper_pearson(tally.hits, tally.worlds) if tally.worlds else None,
        )
        for shift, tally in tallies.items()
        if shift and fitted.cause
    )  # fmt: skip
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
    )
