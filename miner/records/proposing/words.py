"""The words that headers use for the columns of each stream."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
_BREAK = re.compile(r"[^a-z0-9%]+")


def _set(text: str) -> frozenset[str]:
    return frozenset(text.split())


GLUCOSE = _set(
    "glucose bg sgv egv sugar cgm glucosa glucemia glukose blutzucker glycemie glycemia glycaemia "
    "glicose glicemia glucosio"
)
SLEEP = _set("sleep asleep bedtime rem nap schlaf sueno sommeil sono sonno night")
STRESS = _set("stress estres stresslevel")
ACTIVITY = _set(
    "activity activities step steps walk walking workout exercise sport sports pasos schritte "
    "passos"
)
MEALS = _set(
    "meal meals food foods carb carbs carbohydrate carbohydrates cho protein prot fibre fiber "
    "comida mahlzeit repas refeicao pasto kohlenhydrate glucides"
)
TAGS = _set("tag tags note notes event events symptom symptoms comment comments")
STREAM_WORDS = {
    "glucose": GLUCOSE,
    "sleep": SLEEP,
    "stress": STRESS,
    "activity": ACTIVITY,
    "meals": MEALS,
    "tags": TAGS,
}

NOT_THE_TIME = _set(
    "upload uploaded created modified updated sync synced export exported offset zone"
)
START = _set("start started starts from begin began begins onset bedtime inicio debut")
END = _set("end ended ends to until stop stopped finish finished wake waketime wakeup")
DURATION = _set("duration length dauer duracion duree duracao")
VALUE = _set("value result reading measurement level wert valor valeur")
LABEL = ("label", "description", "food", "foods", "item", "dish", "tag", "name", "meal", "note")
TAG = ("tag", "tags", "event", "symptom", "note", "notes", "comment", "label", "name")
KIND = ("kind", "type", "activity", "sport", "workout", "exercise", "name")
AMOUNTS = {
    "carbs_g": _set("carb carbs carbohydrate carbohydrates cho kohlenhydrate glucides"),
    "protein_g": _set("protein prot proteins eiweiss proteines"),
    "fat_g": _set("fat fats lipids fett"),
    "fibre_g": _set("fibre fiber fibres ballaststoffe"),
    "energy_kcal": _set("kcal energy calories"),
}
STAGES = {
    "deep_min": frozenset({"deep"}),
    "rem_min": frozenset({"rem"}),
    "light_min": frozenset({"light"}),
    "awake_min": frozenset({"awake", "waso"}),
    "asleep_min": frozenset({"asleep", "tst"}),
}
AWAKENINGS = frozenset({"awakenings", "wakeups", "awakening"})
NOT_AN_AMOUNT = _set("score percent pct % count number goal target ratio efficiency")
SECONDS = _set("s sec secs second seconds")
MINUTES = _set("m min mins minute minutes")
HOURS = _set("h hr hrs hour hours")
NOTHING = _set("n/a na null none nan - -- --- ? nil missing")


def tokens(name: str) -> tuple[str, ...]:
    """Return the words of a header, folded, without accents.

    Example:
        >>> tokens("sleepDuration_in-Sec (min.)")
        ('sleep', 'duration', 'in', 'sec', 'min')
    """
    plain = unicodedata.normalize("NFKD", _CAMEL.sub(" ", name.replace("dL", "dl")))
    plain = "".join(mark for mark in plain if not unicodedata.combining(mark)).casefold()
    return tuple(part for part in _BREAK.split(plain) if part)


def time_unit(words: Iterable[str]) -> str | None:
    """Return s, min or h where the words of a header name just one of them."""
    given = set(words)
    units = {"s": SECONDS, "min": MINUTES, "h": HOURS}
    found = [unit for unit, known in units.items() if known & given]
    return found[0] if len(found) == 1 else None


def glucose_unit(words: tuple[str, ...]) -> str | None:
    """Return mg/dL or mmol/L where the words of a header name just one of them."""
    given = set(words)
    mass, molar = {"mg", "dl"} <= given or "mgdl" in given, bool({"mmol", "mmoll"} & given)
    return None if mass == molar else "mg/dL" if mass else "mmol/L"
