"""What the pages call things: columns of a stream, parts of a morning, where a habit begins."""

from __future__ import annotations

from miner import rulebook
from miner.core.results import Severity
from miner.rulebook import FactorRule, RuleBook

FILE_FIELDS = {
    "time_format": "How dates are written",
    "decimal": "Decimal sign",
    "delimiter": "Between the columns",
    "skip_rows": "Lines above the names of the columns",
    "encoding": "Encoding",
    "not_measured": "Words that stand for nothing",
}
COLUMN_NAMES = {
    "time_of_day": "Time of day, where that holds the date alone",
    "utc_offset": "Offset from UTC, beside times in UTC",
    "time": "When",
    "start": "Begins",
    "end": "Ends",
    "duration": "Lasts",
    "glucose_mg_dl": "Glucose in mg/dL",
    "glucose_mmol_l": "Glucose in mmol/L",
    "sensor": "Name of the sensor",
    "asleep_min": "Asleep",
    "deep_min": "Deep sleep",
    "rem_min": "Dream sleep",
    "light_min": "Light sleep",
    "awake_min": "Awake in the night",
    "active_min": "Moving",
    "awakenings": "How often awake",
    "kind": "Kind",
    "level": "Level",
    "steps": "Steps",
    "intensity": "How hard",
    "label": "What was eaten",
    "carbs_g": "Carbohydrate, g",
    "protein_g": "Protein, g",
    "fat_g": "Fat, g",
    "fibre_g": "Fibre, g",
    "energy_kcal": "Energy, kcal",
    "tag": "Tag or note",
    "meal": "Which meal",
    "carbs_level": "Carbohydrate: low, moderate, high",
    "protein_level": "Protein, same",
    "fat_level": "Fat, same",
    "fibre_level": "Fibre, same",
}
DATE_FORMATS = {
    "": "2026-03-02 08:30, year first",
    "%d/%m/%Y %H:%M": "02/03/2026 08:30, day first",
    "%m/%d/%Y %H:%M": "03/02/2026 08:30, month first",
    "%d/%m/%Y %H:%M:%S": "02/03/2026 08:30:00, day first",
    "%m/%d/%Y %H:%M:%S": "03/02/2026 08:30:00, month first",
    "%m/%d/%Y %I:%M %p": "03/02/2026 08:30 AM, month first",
    "%d.%m.%Y %H:%M": "02.03.2026 08:30",
    "%d-%m-%Y %H:%M": "02-03-2026 08:30, day first",
    "%Y/%m/%d %H:%M": "2026/03/02 08:30",
}
WHAT_IT_HOLDS = "what the file holds"
STREAM_HOLDS = {
    "glucose": "the sensor's readings",
    "sleep": "nights",
    "stress": "stress",
    "activity": "walks and other movement",
    "meals": "meals",
    "tags": "tags and notes",
}
FINDING_KINDS = {
    Severity.STOP: "Must be put right",
    Severity.QUESTION: "Question",
    Severity.LEFT_OUT: "Left out",
    Severity.NOTE: "Note",
}
MORNING_GROUPS = (
    ("look_first", "Look first", "The intake or the newest day calls for a look before anything."),
    ("nudge", "Send a word", "Logging or the tracker has gone quiet."),
    ("stale", "No new readings", "The newest reading is not of yesterday or today."),
    ("on_test", "On test", "Something is kept or tested."),
    ("ordinary", "Ordinary", "Nothing stands out."),
)
"""Name in a morning, title, and why a client is there."""
SHARED_PAGES = {
    "preparation": "For you alone: everything, fifteen minutes before the session.",
    "session": "To show in the session: one card at a time.",
    "take-home": "To take home: one printed side in plain words.",
    "doctor": "For the client's doctor: one side of numbers, no advice.",
}
CHOICES_BY_UNIT = {"day": "Patterns and fixed questions, by day", "meal": "By meal"}
UNIT_TITLES = {"day": "By day", "meal": "By meal"}
MEAL_ALONE = "By meal alone"
ANY_TAG, ANY_FOOD = "a tag of the client's own", "a food that comes back"
TICK_ANSWERS = (("yes", "yes"), ("no", "no"), ("forgot", "forgot"), ("", "nothing"))
_CUTS = {
    "below": "under {at} {unit}",
    "at_least": "{at} {unit} or more",
    "present": "whenever it is logged",
    "own_low_quarter": "in the client's own lowest quarter",
    "own_high_quarter": "in the client's own highest quarter",
    "below_own_median": "below the client's own middle",
    "above_own_median_by": "{at} {unit} or more above the client's own middle",
}
_CLOCK_CUTS = _CUTS | {"at_least": "{at} by the clock or later", "below": "under {at} by the clock"}
_UNITS = {"h": "hours", "min": "minutes", "count": "", "yes or no": "", "share": "%"}


def cut_words(rule: FactorRule) -> str:
    """Return where the yes of a habit begins."""
    at, cuts = "" if rule.at is None else f"{rule.at:g}", _CUTS
    if rule.at is not None and rule.measure.endswith("clock"):
        hours, minutes = divmod(round(60 * rule.at), 60)
        at, cuts = f"{hours}:{minutes:02d}", _CLOCK_CUTS
    elif rule.at is not None and rule.measure_unit == "share":
        at = f"{100 * rule.at:g}"
    unit = _UNITS.get(rule.measure_unit, rule.measure_unit)
    return " ".join(cuts[rule.cut].format(at=at, unit=unit).split())


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
