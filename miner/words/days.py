"""A feature table for people: outcomes, then a strip a habit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from string import ascii_lowercase
from typing import TYPE_CHECKING, Protocol

from miner.core.messages import Message, several
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import BLANK, Part, Parts, Strip, heading, paragraph, section, table
from miner.words.door import door_now
from miner.words.safe import clean
from miner.words.sentences import outcome_label

if TYPE_CHECKING:
    import pandas as pd

STRIP = 50
_NAME_WIDTH = 24


class FeatureTable(Protocol):
    """A feature table: see ``miner.tables.unit_table``."""

    @property
    def unit(self) -> str:
        """``day`` or ``meal``."""
        ...

    @property
    def frame(self) -> pd.DataFrame:
        """One row a unit."""
        ...

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Names of the outcome columns."""
        ...

    @property
    def factors(self) -> tuple[str, ...]:
        """Names of the factor columns."""
        ...

    @property
    def reasons(self) -> Mapping[tuple[str, str], Message]:
        """(unit, column) -> why that cell is unknown."""
        ...


def days_parts(
    client: str, units: FeatureTable, rules: RuleBook, *, display_unit: str = "mg/dL"
) -> Parts:
    """Return a feature table as headings, tables and strips.

    Args:
        client: the client's code.
        units: one row a day or meal.
        rules: the rule books, for the units of the outcomes.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    usable = int(units.frame["usable"].sum())
    lead = f"{client}: {usable} of {several(len(units.frame), units.unit)} can be used."
    reasons = _reasons(units.frame)
    return [
        heading(lead),
        *section("Glucose measures", _outcomes(units, rules, Amounts(display_unit), reasons)),
        *(paragraph(f"{mark}: {clean(reason, 200)}", 2) for reason, mark in reasons.items()),
        *section("Habits (x yes, . no, ? not known)", list(_strips(units))),
    ]


def _reasons(frame: pd.DataFrame) -> Mapping[str, str]:
    reasons = dict.fromkeys(str(reason) for reason in frame["left_out"] if reason)
    return {reason: _letter(place) for place, reason in enumerate(reasons)}


def _letter(place: int) -> str:
    times, letter = divmod(place, len(ascii_lowercase))
    return ascii_lowercase[letter] * (times + 1)


def _outcomes(
    units: FeatureTable, rules: RuleBook, amounts: Amounts, reasons: Mapping[str, str]
) -> Parts:
    names = [(name, _unit(name, rules)) for name in units.outcomes]
    sensors = bool((units.frame["sensor"] != "").any())
    columns: list[str] = [units.unit, "out"]
    for name, unit in names:
        title = outcome_label(name, rules, units.unit) if door_now() == "page" else clean(name, 30)
        title = title.replace("_", "\n")
        columns.append(f">{title}\n{amounts.unit(unit)}".rstrip())
    if sensors:
        columns.append("sensor")
    rows = []
    for index, row in zip(units.frame.index, units.frame.to_dict("records"), strict=True):
        left_out = str(row["left_out"])
        mark = reasons.get(left_out, "" if row["usable"] else "-")
        levels = [amounts.level(row[name], unit) for name, unit in names]
        sensor = [clean(row["sensor"], 12)] if sensors else []
        rows.append((clean(index, 24), mark, *levels, *sensor))
    return table(columns, rows)


def _unit(name: str, rules: RuleBook) -> str:
    return rules.outcomes[name].measure_unit if name in rules.outcomes else ""


def _strips(units: FeatureTable) -> Iterator[Part]:
    marks = {
        name: "".join("?" if v != v else "x" if v else "." for v in units.frame[name])
        for name in units.factors
    }
    dates = [str(date) for date in units.frame["date"]]
    for start in range(0, len(dates) if marks else 0, STRIP):
        part = slice(start, start + STRIP)
        if start:
            yield BLANK
        span = f"{dates[part][0]} to {dates[part][-1]}"
        yield Strip("", "".join(date[-2] for date in dates[part]))
        yield Strip(span, "".join(date[-1] for date in dates[part]))
        for name, strip in marks.items():
            yield Strip(clean(name, _NAME_WIDTH), strip[part], name)
