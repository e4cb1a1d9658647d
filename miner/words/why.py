"""The days behind a pattern: both groups first, then each day, then what was not used."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import floor

import numpy as np

from miner.core.messages import Message, MinerError, several
from miner.core.results.why import FactorValue, UnitBehind, Why, told, told_between
from miner.rulebook import FactorRule, OutcomeRule, RuleBook
from miner.words.amounts import Amounts, fixed, measured
from miner.words.document import Parts, heading, paragraph, section, table
from miner.words.door import Audience, said_to
from miner.words.safe import clean
from miner.words.said import reason_kind
from miner.words.sentences import factor_phrase, factor_words
from miner.words.wording import capital, day_and_month, first_days, listed, unit_name

_DIGITS = {"h": 1, "min": 0, "g": 0, "share": 2, "steps": 0, "count": 0}
_MARKS = {1.0: "yes", 0.0: "no", None: "?"}
_WITHOUT_AMOUNT = ("count", "yes or no")
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth")
ALLOWED_FOR = {
    "day": "weekends, drift and the sensors",
    "meal": "weekends, drift, the sensors, the kind of meal and the level before it",
}
"""What a difference allows for."""
NO_REASON = "A pattern does not show why, and this is not a diagnosis."
MOST_SHOWN, FEW_SHOWN, MOST_REASONS = 24, 3, 4
BLOCKS = {"day": 4, "meal": 3}
"""How many days, or meals, are on one line."""


@dataclass(frozen=True, slots=True)
class _Group:
    """Units that are told together.

    Attributes:
        name: what they are called.
        most: how many of them are shown.
    """

    name: str
    units: list[UnitBehind]
    most: int

    @property
    def values(self) -> list[float]:
        return [unit.outcome for unit in self.units if unit.outcome is not None]

    @property
    def mean(self) -> float:
        return float(np.mean(self.values))


def why_parts(
    why: Why,
    rules: RuleBook,
    *,
    display_unit: str = "mg/dL",
    asked_as: str = "",
    detail: bool = False,
) -> Parts:
    """Return the units behind a pattern as headings and tables, the averages of both groups first.

    Args:
        why: the units.
        rules: the rule books, for the words and the unit of the glucose measure.
        display_unit: ``mg/dL`` or ``mmol/L``.
        asked_as: the number or the ID by which the pattern was asked for.
        detail: every unit with the file and row of each value below it.
    """
    behind = _Behind(why, said_to(rules, Audience.PRACTITIONER), Amounts(display_unit))
    groups = behind.groups()
    lead = f"Pattern {clean(asked_as, 16)}: " if asked_as else ""
    title = behind.title()
    return [
        heading(f"{lead}{title if lead else capital(title)} ({clean(why.client, 40)})"),
        paragraph(""),
        *behind.summary(groups),
        *(paragraph(text) for text in filter(None, [" ".join(behind.sizes(groups))])),
        *(behind.every_unit() if detail else behind.columns(groups)),
    ]


@dataclass(frozen=True, slots=True)
class _Behind:
    why: Why
    rules: RuleBook
    amounts: Amounts

    @property
    def outcome(self) -> OutcomeRule:
        return self.rules.outcome(self.why.outcome, self.why.unit)

    @property
    def factor(self) -> FactorRule:
        return self.rules.factor(self.why.factors[0], self.why.unit)

    @property
    def used(self) -> list[UnitBehind]:
        return [unit for unit in self.why.units if unit.used]

    @property
    def glucose_unit(self) -> str:
        return self.amounts.unit(self.outcome.measure_unit)

    def level(self, value: float | None) -> str:
        return self.amounts.level(value, self.outcome.measure_unit)

    def names(self) -> tuple[str, str]:
        """Return what the units with the habit and those without are called."""
        words = [factor_words(name, self.rules, self.why.unit) for name in self.why.factors]
        if len(words) > 1:
            return f"{listed(words)} together", f"other {self.why.unit}s"
        return words[0], self.factor.without_many

    def groups(self) -> list[_Group]:
        """Return the groups: of a dose by its amount, otherwise with the habit and without."""
        if self.why.per is not None:
            return self._by_amount(self.why.per.amount)
        names = self.names()
        return [
            _Group(name, [unit for unit in self.used if unit.with_factor == side], most)
            for name, side, most in zip(names, (1.0, 0.0), (MOST_SHOWN, FEW_SHOWN), strict=True)
        ]

    def _by_amount(self, step: float) -> list[_Group]:
        """Return thirds of a dose, their limits rounded to whole steps, most of the habit first."""
        amounts = {
            unit.unit: unit.factors[0].measure
            for unit in self.used
            if unit.factors[0].measure is not None
        }
        seen = np.array(list(amounts.values()), dtype=np.float64)
        if not seen.size:
            return []
        thirds = np.quantile(seen, (1 / 3, 2 / 3))
        edges = sorted({step * floor(at / step + 0.5) for at in thirds.tolist()})
        limits = [-np.inf, *edges, np.inf]
        found = []
        for low, high in pairwise(limits):
            own = [u for u in self.used if low <= amounts.get(u.unit, np.nan) < high]
            found.append(_Group(self._between(low, high), own, FEW_SHOWN))
        if not self.factor.towards_less:
            found.reverse()
        first, *others = [group for group in found if group.units]
        return [replace(first, most=MOST_SHOWN), *others]

    def _between(self, low: float, high: float) -> str:
        def amount(value: float, *, unit: bool = True) -> str:
            name = self.factor.measure
            return measured(name, value, self.factor.measure_unit, self.amounts, unit=unit)

        if low == -np.inf:
            return f"under {amount(high)}"
        if high == np.inf:
            return f"{amount(low)} or more"
        return f"{amount(low, unit=False)} to {amount(high)}"

    def title(self) -> str:
        """Return the pattern as a message."""
        names, shift = self.names(), self._shift()
        went = "came before" if self.why.relation == "precedes" else "went with"
        habit = self.factor.each if self.why.per is not None and self.factor.each else names[0]
        if not shift:
            return f"{habit}, and {self.outcome.label}"
        return f"{habit} {went} {self.outcome.changed(shift)}"

    def _shift(self) -> float:
        """Return a number of which only the sign says something: the way of the difference."""
        if self.why.difference is not None:
            return self.why.difference
        first, second = self.groups()[:2] if self.why.per is None else (None, None)
        if first is None or second is None or not first.values or not second.values:
            return 0.0
        return first.mean - second.mean

    def summary(self, groups: Sequence[_Group]) -> Parts:
        """Return a row a group: how many, their average, how many are high, and their ends."""
        columns = ["", f">{self.outcome.units_many}", ">average", ">high", ">lowest to highest"]
        rows = [
            (
                clean(group.name, 60),
                str(len(group.units)),
                self.level(group.mean) if group.values else "-",
                str(sum(unit.high == 1 for unit in group.units)),
                " to ".join(self.level(end(group.values)) for end in (min, max))
                if group.values
                else "-",
            )
            for group in groups
        ]
        return table(columns, rows, indent=0, gap=3)

    def sizes(self, groups: Sequence[_Group]) -> Iterator[str]:
        """Yield how large the difference is, and from where on a value is high."""
        adjusted, rule = self.why.difference, self.outcome
        allowed = ALLOWED_FOR[self.why.unit]
        if self.why.per is not None:
            if adjusted is not None:
                size = f"{self.level(abs(adjusted))} {self.glucose_unit} {rule.way(adjusted)}"
                it_was = f"{capital(rule.it_was)} about {size} for {self.factor.each}"
                yield f"{it_was}, with {allowed} allowed for."
        elif len(groups) == 2 and all(group.values for group in groups):
            raw = groups[0].mean - groups[1].mean
            size = f"{self.level(abs(raw))} {self.glucose_unit}"
            if adjusted is None:
                yield f"The difference is {size}."
            elif raw * adjusted >= 0:
                other = self.level(abs(adjusted))
                also = "also" if other == self.level(abs(raw)) else f"or {other}"
                yield f"The difference is {size}, {also} once {allowed} are allowed for."
            else:
                other = f"{self.level(abs(adjusted))} {rule.way(adjusted)}"
                turned = f"but {other} once {allowed} are allowed for"
                yield f"The average is {size} {rule.way(raw)}, {turned}."
        if began := self._high_began():
            yield began

    def _high_began(self) -> str:
        end = min if self.outcome.worse == "higher" else max
        by_sensor: dict[str, list[float]] = {}
        for unit in self.used:
            values = by_sensor.setdefault(unit.sensor, [])
            values += [unit.outcome] if unit.high == 1 and unit.outcome is not None else []
        sensors = list(by_sensor.values())
        if not any(sensors):
            return ""
        if len(sensors) == 1 or len(sensors) > len(_ORDINALS):
            least = end(value for values in sensors for value in values)
            return f"High began at {self.level(least)} {self.glucose_unit}."
        told = [
            f"at {self.level(end(values))} on the {_ORDINALS[at]}"
            for at, values in enumerate(sensors)
            if values
        ]
        return f"High began {listed(told)} sensor."

    def columns(self, groups: Sequence[_Group]) -> Parts:
        """Return the units of each group in columns, and what was not used."""
        parts: Parts = []
        for group in groups:
            title = f"{capital(group.name)}{f': {self._legend()}' if group is groups[0] else ''}"
            parts += section(title, self._block(group))
        return [
            *parts,
            paragraph(""),
            *(paragraph(text) for text in self._not_used()),
            paragraph(NO_REASON),
            paragraph("The file and row of every value: --detail"),
        ]

    def _legend(self) -> str:
        label = f"{self.outcome.label} ({self.glucose_unit})"
        if not self._has_amount():
            return f"{label}, * high"
        words = self.rules.wording.get("measure", {}).get(self.factor.measure, "amount")
        clock = self.factor.measure.endswith("_clock") or self.factor.measure_unit == "steps"
        unit = "%" if self.factor.measure_unit == "share" else self.factor.measure_unit
        return f"{words}{'' if clock else f' ({unit})'}, {label}, * high"

    def _has_amount(self) -> bool:
        return len(self.why.factors) == 1 and self.factor.measure_unit not in _WITHOUT_AMOUNT

    def _block(self, group: _Group) -> Parts:
        if not group.units:
            return []
        fold = len(group.units) > group.most + 1
        shown = group.units[: group.most] if fold else group.units
        width = max(len(self.level(unit.outcome)) for unit in shown)
        cells: list[tuple[str, ...]] = [self._cells(unit, width) for unit in shown]
        if fold:
            cells.append((f"  ... ({len(group.units) - group.most} more)",))
        many = BLOCKS[self.why.unit]
        lines = [cells[at : at + many] for at in range(0, len(cells), many)]
        rows = [[text for cell in line for text in cell] for line in lines]
        across = max(map(len, rows))
        padded = [[*row, *[""] * (across - len(row))] for row in rows]
        sides = (">", ">", "") if self._has_amount() else (">", "")
        return table([sides[at % len(sides)] for at in range(across)], padded, indent=0)

    def _cells(self, unit: UnitBehind, width: int) -> tuple[str, ...]:
        day = f"  {day_and_month(unit.unit, short=True)} {unit.unit[11:16]}".rstrip()
        level = f"{self.level(unit.outcome):>{width}}{'*' if unit.high == 1 else ' '}"
        if not self._has_amount():
            return day, level
        name, factor = self.factor.measure, unit.factors[0]
        amount = measured(name, factor.measure, factor.measure_unit, self.amounts, unit=False)
        return day, amount, level

    def _not_used(self) -> list[str]:
        by_reason: dict[str, list[str]] = {}
        for unit in self.why.units:
            if not unit.used:
                by_reason.setdefault(clean(reason_kind(_reason(unit)), 200), []).append(unit.unit)
        shown = list(by_reason.items())[:MOST_REASONS]
        told_ = [f"{self._some(units)} ({reason})" for reason, units in shown]
        more = sum(len(units) for units in by_reason.values()) - sum(len(u) for _, u in shown)
        told_ += [f"{several(more, self.why.unit)} for other reasons"] if more else []
        return [f"Not used: {'; '.join(told_)}."] if told_ else []

    def _some(self, units: list[str]) -> str:
        if self.why.unit == "meal":
            return several(len(units), "meal")
        return first_days(units, 5)

    def every_unit(self) -> Parts:
        """Return every unit with the file and row of each value."""
        unknown = [unit for unit in self.why.units if not unit.used and not unit.reason]
        apart = [unit for unit in self.why.units if not unit.used and unit.reason]
        return [
            *section(f"Counted ({len(self.used)})", self._rows()),
            *section(f"Habit not known ({len(unknown)})", self._aside(unknown)),
            *section(f"Not used ({len(apart)})", self._aside(apart)),
        ]

    def _rows(self) -> Parts:
        if not self.used:
            return []
        name = clean(self.outcome.label, 30).replace(" ", "\n")
        columns: list[str] = [
            self.why.unit,
            f">{name}\n{self.glucose_unit}",
            "high",
            *_titles(self.why, self.used[0], self.rules),
            "sensor",
            "from",
        ]
        rows = [
            (
                clean(unit_name(unit.unit), 24),
                self.level(unit.outcome),
                "high" if unit.high else "",
                *_measures(self.why, unit),
                clean(unit.sensor, 24),
                _from(unit),
            )
            for unit in self.used
        ]
        return table(columns, rows, gap=2)

    def _aside(self, units: list[UnitBehind]) -> Parts:
        return [
            paragraph(
                f"{unit_name(unit.unit)}: {_why_not(unit, self.rules, self.why.unit)}",
                2,
                limit=400,
            )
            for unit in units
        ]


def _titles(why: Why, unit: UnitBehind, rules: RuleBook) -> Iterator[str]:
    for factor, lag in zip(unit.factors, why.lag_days, strict=True):
        yield f">{_title(factor, rules, why.unit)}"
        if lag:
            yield "recorded\non"


def _measures(why: Why, unit: UnitBehind) -> Iterator[str]:
    for factor, lag in zip(unit.factors, why.lag_days, strict=True):
        number = fixed(factor.measure, _DIGITS.get(factor.measure_unit, 1))
        yield f"{_MARKS[factor.value]} {number:>5}"
        if lag:
            yield clean(unit_name(factor.from_unit or "-"), 24)


def _title(factor: FactorValue, rules: RuleBook, by: str) -> str:
    name = clean(_one(factor.factor, rules, by), 30).replace(" ", "\n")
    unit = "" if factor.measure_unit in ("count", "share") else clean(factor.measure_unit, 12)
    return f"{name}\n{unit}".strip()


def _one(name: str, rules: RuleBook, by: str) -> str:
    try:
        return rules.factor(name, by).with_one
    except MinerError:
        return name


def _from(unit: UnitBehind) -> str:
    told_once = dict.fromkeys(told(factor.places) for factor in unit.factors)
    return clean("; ".join([*filter(None, told_once), told_between(unit.places)]), 400)


def _reason(unit: UnitBehind) -> Message | str:
    """Return why a unit is not used; of several habits, of the first that is not known."""
    reasons = [factor.reason for factor in unit.factors if factor.value is None and factor.reason]
    return unit.reason or (reasons[0] if reasons else "the habit is not known")


def _why_not(unit: UnitBehind, rules: RuleBook, by: str) -> str:
    if unit.reason or len(unit.factors) == 1:
        return str(_reason(unit))
    return "; ".join(
        f"{factor_phrase(factor.factor, rules, by)}: {factor.reason or 'not known'}"
        for factor in unit.factors
        if factor.value is None
    )
