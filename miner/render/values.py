"""Facts as plain values: dictionaries for JSON, and comma-separated values for spreadsheets."""

from __future__ import annotations

import csv
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from io import StringIO
from typing import Any

from miner.core.files import safe_cell
from miner.core.results import Ranking
from miner.core.results.caseload import Caseload, ClientRow
from miner.core.results.meals import MealComparison, Repeats
from miner.core.results.why import UnitBehind, Why, told, told_between
from miner.words.days import FeatureTable
from miner.words.safe import clean

LONGEST = 32_000
"""Characters of a cell; a usual spreadsheet holds at most 32,767."""
HEADS = {
    "day": ("date", "usable", "left_out", "sensor"),
    "meal": (
        "meal",
        "date",
        "usable",
        "left_out",
        "sensor",
        "kind",
        "label",
        "carbs_g",
        "baseline",
    ),
}
"""What stands before the outcomes, by unit."""


def sheet(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return rows as comma-separated values with a header.

    Numbers are written in full, what is undefined is empty, text a spreadsheet would take for a
    formula begins with an apostrophe, and marks that cannot be seen or turn the reading direction
    are spelled out.
    """
    buffer = StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([_cell(name) for name in header])
    writer.writerows([_cell(value) for value in row] for row in rows)
    return buffer.getvalue()


def _cell(value: Any) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, list | tuple):
        value = " + ".join(str(item) for item in value)
    if not isinstance(value, str):
        return str(value)
    return safe_cell(clean(value, LONGEST))


def ranking_csv(ranking: Ranking) -> str:
    """Return one line a hypothesis, numbers in full and in the units of the results."""
    rows = ranking.to_frame().to_dict("records")
    for row in rows:
        row["withheld"] = (row["withheld"] or {}).get("reason")
    header = [str(name) for name in rows[0]] if rows else ["id"]
    return sheet(header, ([row[name] for name in header] for row in rows))


def why_csv(why: Why) -> str:
    """Return one line a unit: used, yes or no as 1 and 0, numbers in full, files and rows."""
    header = ["unit", "used", "reason", "with", why.outcome, "high", "outcome_from", "sensor"]
    for name in why.factors:
        ends = ("measure", "unit", "reason", "recorded_on", "from")
        header += [name, *(f"{name}_{end}" for end in ends)]
    return sheet(header, ([*_line(item)] for item in why.units))


def _line(item: UnitBehind) -> Iterable[object]:
    yield from (item.unit, item.used, str(item.reason), _whole(item.with_factor), item.outcome)
    yield from (_whole(item.high), told_between(item.places), item.sensor)
    for factor in item.factors:
        yield from (_whole(factor.value), factor.measure, factor.measure_unit, str(factor.reason))
        yield from (factor.from_unit, told(factor.places))


def caseload_csv(found: Caseload) -> str:
    """Return one line a client."""
    header = (
        "client",
        "folder",
        "unit",
        "usable_units",
        "left_out_units",
        "status",
        "clear",
        "hints",
        "pooled",
        "error",
        "cautions",
        "attention",
        "not_asked",
        "state",
    )
    between = {"cautions": " ", "attention": " ", "not_asked": ", "}

    def cell(row: ClientRow, name: str) -> Any:
        if name == "state":
            return row.state.state if row.state else ""
        value = getattr(row, name)
        return between[name].join(map(str, value)) if name in between else value

    return sheet(header, ([cell(row, name) for name in header] for row in found.clients))


def table_dict(client: str, units: FeatureTable, repeats: Repeats | None = None) -> dict[str, Any]:
    """Return a feature table as plain values, None where unknown; of meals how they repeat."""
    header = _header(units)
    return {
        "client": client,
        "unit": units.unit,
        "usable_units": int(units.frame["usable"].sum()),
        "outcomes": list(units.outcomes),
        "factors": list(units.factors),
        **({} if repeats is None else {"repeats": repeats.to_dict()}),
        "rows": [dict(zip(header, row, strict=True)) for row in _rows(units)],
    }


def table_csv(units: FeatureTable) -> str:
    """Return one line a unit: outcomes in full, factors 1, 0 or empty."""
    return sheet(_header(units), _rows(units))


def _header(units: FeatureTable) -> list[str]:
    return [*HEADS[units.unit], *units.outcomes, *units.factors]


def _rows(units: FeatureTable) -> Iterator[list[Any]]:
    for name, row in zip(units.frame.index, units.frame.to_dict("records"), strict=True):
        head = [_head(column, str(name), row) for column in HEADS[units.unit]]
        outcomes = [_known(row[column]) for column in units.outcomes]
        yield [*head, *outcomes, *(_whole(row[column]) for column in units.factors)]


def _head(column: str, name: str, row: Mapping[Hashable, Any]) -> Any:
    if column in ("carbs_g", "baseline"):
        return _known(row[column])
    if column == "usable":
        return bool(row[column])
    return name if column == "meal" else str(row["meal" if column == "kind" else column])


def comparison_csv(found: MealComparison) -> str:
    """Return one line a pair."""
    frame = found.to_frame()
    return sheet(list(frame.columns) or ["with"], frame.to_numpy(object).tolist())


def _known(value: Any) -> float | None:
    return None if value is None or value != value else float(value)


def _whole(value: Any) -> int | None:
    return None if value is None or value != value else int(value)
