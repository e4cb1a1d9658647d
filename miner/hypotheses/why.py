"""Every unit behind a hypothesis, with the file and row each value came from."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

import numpy as np

from miner.core.messages import Message, MinerError, closest, message
from miner.core.results import Place
from miner.core.results.why import FactorValue, UnitBehind, Why
from miner.hypotheses.candidates import candidates
from miner.hypotheses.design import (
    Design,
    Item,
    Target,
    design,
    identity,
    lagged,
    with_whole_day,
)
from miner.rulebook import RuleBook
from miner.stats.scores import combine
from miner.tables.labels import higher_quarter
from miner.tables.unit_table import UnitTable


def why_table(table: UnitTable, rules: RuleBook, id_: str, client: str) -> Why:
    """Return the units behind the hypothesis of that ID.

    Args:
        table: days or meals.
        rules: the rule books.
        id_: eight hexadecimal digits, as a ranking prints them.
        client: the client's code.

    Raises:
        MinerError: no rule of this table has that ID.
    """
    table = with_whole_day(table, rules)
    plan = design(table, rules)
    target, items = find(plan, id_)
    frame = table.frame
    columns = [lagged(frame, item.factor, item.lag) for item in items]
    together = combine(columns)
    high = higher_quarter(table, target.name, rules).to_numpy(dtype=float)
    outcome = frame[target.name].to_numpy(dtype=float)
    usable = frame["usable"].to_numpy(dtype=bool)
    units = []
    for at, name in enumerate(frame.index):
        unknown = isnan(outcome[at])
        reason: Message | str = frame["left_out"].iloc[at] if not usable[at] else ""
        if not reason and unknown:
            reason = table.reasons.get((str(name), target.name), "")
        units.append(
            UnitBehind(
                str(name),
                bool(usable[at] and not unknown and not isnan(together[at])),
                reason,
                _known(together[at]),
                _known(outcome[at]),
                _known(high[at]),
                tuple(_factor(table, item, at) for item in items),
                _places(table, str(name), target.name),
                str(frame["sensor"].iloc[at]),
            )
        )
    factors, lags = zip(*((item.factor, item.lag) for item in items), strict=True)
    same = table.unit == "meal" or any(item.relation == "same_day" for item in items)
    relation = "same_day" if same else "precedes"
    return Why(client, id_, factors, lags, target.name, table.unit, tuple(units), relation)


def find(plan: Design, id_: str) -> tuple[Target, tuple[Item, ...]]:
    """Return the outcome and the items of the rule that has an ID.

    Raises:
        MinerError: there is none.
    """
    for found, target, items in every_rule(plan):
        if found == id_:
            return target, items
    known = [identity([i], one.name, one.rule) for one in plan.targets for i in one.items]
    raise MinerError("hypotheses.id_unknown", id=id_, close=closest(id_, known))


def every_rule(plan: Design) -> Iterator[tuple[str, Target, tuple[Item, ...]]]:
    """Yield the ID, the outcome and the items of every rule, those of one item first."""
    for target in plan.targets:
        for item in target.items:
            yield identity([item], target.name, target.rule), target, (item,)
    for target in plan.targets:
        for rule in candidates(plan, target):
            items = tuple(target.items[at] for at in rule.items)
            if len(items) > 1:
                yield identity(items, target.name, target.rule), target, items


def _factor(table: UnitTable, item: Item, at: int) -> FactorValue:
    frame = table.frame
    day = int(frame["day_number"].iloc[at]) - item.lag
    rows = frame.index[frame["day_number"] == day] if item.lag else frame.index[at : at + 1]
    if not len(rows):
        none = message("hypotheses.no_records_that_day")
        return FactorValue(item.factor, None, None, None, item.rule.measure_unit, none, ())
    name = str(rows[0])
    place = int(np.flatnonzero(frame.index == rows[0])[0])
    value, measure = (
        _known(float(columns[item.factor].to_numpy(dtype=float)[place]))
        for columns in (frame, table.measures)
    )
    reason = table.reasons.get((name, item.factor), "")
    places = _places(table, name, item.factor)
    return FactorValue(item.factor, name, value, measure, item.rule.measure_unit, reason, places)


def _places(table: UnitTable, unit: str, column: str) -> tuple[Place, ...]:
    rows = table.sources.get((unit, column), ())
    return tuple(Place(file, row, table.replaced.get((file, row))) for file, row in rows)


def _known(value: float) -> float | None:
    return None if isnan(value) else float(value)
