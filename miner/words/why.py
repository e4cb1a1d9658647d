"""The units behind a hypothesis: a table of those that count, the others aside, and a sheet."""

from __future__ import annotations

from collections.abc import Iterator

from miner.core.messages import several
from miner.core.results.why import FactorValue, UnitBehind, Why, told, told_between
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts, fixed
from miner.words.document import Parts, heading, paragraph, section, table
from miner.words.door import Audience, said_to
from miner.words.safe import clean
from miner.words.sentences import factor_name, factor_phrase, outcome_label
from miner.words.wording import unit_name

_DIGITS = {"h": 1, "min": 0, "g": 0, "share": 2, "steps": 0, "count": 0}
_MARKS = {1.0: "yes", 0.0: "no", None: "?"}


def why_parts(
    why: Why, rules: RuleBook, *, display_unit: str = "mg/dL", audience: Audience = Audience.CLIENT
) -> Parts:
    """Return the units behind a hypothesis as headings and tables.

    Args:
        why: the units.
        rules: the rule books, for the words and the outcome's unit.
        display_unit: ``mg/dL`` or ``mmol/L``.
        audience: who reads it.
    """
    rules = said_to(rules, audience)
    used = [item for item in why.units if item.used]
    unknown = [item for item in why.units if not item.used and not item.reason]
    apart = [item for item in why.units if not item.used and item.reason]
    phrases = " and ".join(factor_phrase(name, rules, why.unit) for name in why.factors)
    label = outcome_label(why.outcome, rules, why.unit)
    return [
        heading(f"{why.client}, ID {clean(why.id, 16)}: {phrases}, and {label}."),
        paragraph(_counted(why.unit, used, (len(unknown), len(apart)), audience)),
        *section(f"Counted ({len(used)})", _rows(why, used, rules, Amounts(display_unit))),
        *section(f"Habit unknown ({len(unknown)})", _aside(unknown, rules, why.unit)),
        *section(f"Not used ({len(apart)})", _aside(apart, rules, why.unit)),
    ]


def _counted(unit: str, used: list[UnitBehind], others: tuple[int, int], audience: Audience) -> str:
    whose = "your" if audience is Audience.CLIENT else "the client's"
    sides = []
    for words, mark in (("with", 1.0), ("without", 0.0)):
        side = [item for item in used if item.with_factor == mark]
        high = sum(item.high == 1 for item in side)
        sides.append(f"{several(len(side), unit)} {words} it, {high} in {whose} higher quarter.")
    (first, second), (unknown, apart) = sides, others
    return f"{first} {second} Habit unknown: {unknown}. Not used: {apart}."


def _rows(why: Why, units: list[UnitBehind], rules: RuleBook, amounts: Amounts) -> Parts:
    if not units:
        return []
    unit = rules.outcome(why.outcome, why.unit).measure_unit
    name = clean(why.outcome, 30).replace("_", "\n")
    columns: list[str] = [
        why.unit,
        f">{name}\n{amounts.unit(unit)}",
        "high",
        *_titles(why, units[0], rules),
        "sensor",
        "from",
    ]
    rows = [
        (
            clean(unit_name(item.unit), 24),
            amounts.level(item.outcome, unit),
            "high" if item.high else "",
            *_cells(why, item),
            clean(item.sensor, 24),
            _from(item),
        )
        for item in units
    ]
    return table(columns, rows, gap=2)


def _titles(why: Why, unit: UnitBehind, rules: RuleBook) -> Iterator[str]:
    for factor, lag in zip(unit.factors, why.lag_days, strict=True):
        yield f">{_title(factor, rules, why.unit)}"
        if lag:
            yield "recorded\non"


def _cells(why: Why, unit: UnitBehind) -> Iterator[str]:
    for factor, lag in zip(unit.factors, why.lag_days, strict=True):
        yield _cell(factor)
        if lag:
            yield clean(unit_name(factor.from_unit or "-"), 24)


def _title(factor: FactorValue, rules: RuleBook, by: str) -> str:
    name = clean(factor_name(factor.factor, rules, by), 30).replace(" ", "\n")
    name = name if ":" in factor.factor else name.replace("_", "\n")
    unit = "" if factor.measure_unit in ("count", "share") else clean(factor.measure_unit, 12)
    return f"{name}\n{unit}".strip()


def _cell(factor: FactorValue) -> str:
    number = fixed(factor.measure, _DIGITS.get(factor.measure_unit, 1))
    return f"{_MARKS[factor.value]} {number:>5}"


def _from(item: UnitBehind) -> str:
    told_once = dict.fromkeys(told(factor.places) for factor in item.factors)
    return clean("; ".join([*filter(None, told_once), told_between(item.places)]), 400)


def _aside(units: list[UnitBehind], rules: RuleBook, by: str) -> Parts:
    return [
        paragraph(f"{unit_name(item.unit)}: {_why_not(item, rules, by)}", 2, limit=400)
        for item in units
    ]


def _why_not(item: UnitBehind, rules: RuleBook, by: str) -> str:
    if item.reason:
        return str(item.reason)
    unknown = [factor for factor in item.factors if factor.value is None]
    if len(item.factors) == 1 and unknown and unknown[0].reason:
        return str(unknown[0].reason)
    return "; ".join(
        f"{factor_phrase(factor.factor, rules, by)}: {factor.reason or 'unknown'}"
        for factor in unknown
    )
