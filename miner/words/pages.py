"""What the pages call things: columns of a stream, parts of a morning, where a habit begins."""

from __future__ import annotations

from miner import rulebook
from miner.rulebook import FactorRule, RuleBook
from miner.words.said import book

_NAMES = book("names")
FILE_FIELDS, COLUMN_NAMES = _NAMES["file_fields"], _NAMES["columns"]
DATE_FORMATS, STREAM_HOLDS = _NAMES["date_formats"], _NAMES["streams"]
FINDING_KINDS, SHARED_PAGES = _NAMES["findings"], _NAMES["shared_pages"]
WHAT_IT_HOLDS = "what the file holds"
MORNING_GROUPS = _NAMES["morning_groups"]
CHOICES_BY_UNIT = {"day": "Patterns and questions, by day", "meal": "By meal"}
UNIT_TITLES = {"day": "By day", "meal": "By meal"}
MEAL_ALONE = "By meal alone"
ANY_TAG, ANY_FOOD = "a tag of the client's own", "a food that comes back"
TICK_MARKS = {
    "yes": ("✓", "yes"),
    "no": ("✕", "no"),
    "forgot": ("–", "forgot"),
    "": ("", "not ticked"),
}
_CUTS, _UNITS = _NAMES["cuts"], _NAMES["units"]
_CLOCK_CUTS = _CUTS | _NAMES["clock_cuts"]


def after_tick(said: str) -> str:
    """Return the answer that a day has once it is pressed: yes, no, forgot, nothing."""
    order = list(TICK_MARKS)
    return order[(order.index(said) + 1) % len(order)]


def cut_words(rule: FactorRule) -> str:
    """Return where the yes of a habit begins."""
    by_clock = rule.at is not None and rule.measure.endswith("clock")
    unit = _UNITS.get(rule.measure_unit, rule.measure_unit)
    text = (_CLOCK_CUTS if by_clock else _CUTS)[rule.cut]
    return " ".join(text.format(at=cut_at(rule), unit=unit).split())


def cut_at(rule: FactorRule) -> str:
    """Return the number or the time at which a habit begins, without its unit."""
    if rule.at is None:
        return ""
    if rule.measure.endswith("clock"):
        hours, minutes = divmod(round(60 * rule.at), 60)
        return f"{hours}:{minutes:02d}"
    return f"{100 * rule.at if rule.measure_unit == 'share' else rule.at:g}"


def differing_rules(rules: RuleBook) -> list[str]:
    """Return where the habits of a rule book begin, of those that begin elsewhere as shipped."""
    shipped = rulebook.load().factors
    return [
        f"{rule.phrase} is {cut_words(rule)} (as shipped: {cut_words(shipped[name])})"
        for name, rule in rules.factors.items()
        if name in shipped and (rule.at, rule.cut) != (shipped[name].at, shipped[name].cut)
    ]


def ranking_words(unit: str, first: str, last: str) -> str:
    """Return what was ranked: by which unit, and of which days where not of all."""
    said = f"by {unit}" + (f", from {first}" if first else "")
    return said + (f", to {last}" if last else "")
