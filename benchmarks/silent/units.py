"""Units that change, and what is written as if they had not."""

from __future__ import annotations

from benchmarks.silent.files import File
from benchmarks.silent.way import (
    GLUCOSE,
    MG_DL,
    UNIT,
    Rng,
    half,
    scaled,
    way,
)


def unit_factor(file: File) -> float:
    """Return what turns the file's glucose into the other unit."""
    return 1 / MG_DL if "glucose_mg_dl" in file.columns else MG_DL


@way("all readings in the other unit", "glucose", UNIT)
def _other_unit(file: File, _: Rng) -> File | None:
    return scaled(file, GLUCOSE, unit_factor(file), slice(None), 1)


@way("the sensor's unit changes half-way", "glucose", UNIT)
def _unit_half_way(file: File, _: Rng) -> File | None:
    return scaled(file, GLUCOSE, unit_factor(file), half(file), 1)


@way("a stretch of a few hours in the other unit", "glucose", UNIT)
def _unit_stretch(file: File, rng: Rng) -> File | None:
    begin = int(rng.integers(0, len(file.rows) - 60))
    return scaled(file, GLUCOSE, unit_factor(file), slice(begin, begin + 40), 1)


@way("hours in a column of minutes", "sleep", UNIT)
def _hours(file: File, _: Rng) -> File | None:
    return scaled(
        file, ("asleep_min", "deep_min", "rem_min", "light_min", "awake_min"), 1 / 60, slice(None)
    )


@way("hours of sleep alone in its column of minutes", "sleep", UNIT)
def _hours_asleep(file: File, _: Rng) -> File | None:
    return scaled(file, ("asleep_min",), 1 / 60, slice(None), 2)


@way("seconds in a column of minutes", "sleep", UNIT)
def _seconds(file: File, _: Rng) -> File | None:
    return scaled(
        file, ("asleep_min", "deep_min", "rem_min", "light_min", "awake_min"), 60, slice(None)
    )


@way("minutes become seconds half-way", "sleep", UNIT)
def _seconds_half_way(file: File, _: Rng) -> File | None:
    return scaled(file, ("asleep_min",), 60, half(file))


@way("kilojoules in a column of kilocalories", "meals", UNIT)
def _kilojoules(file: File, _: Rng) -> File | None:
    return scaled(file, ("energy_kcal",), 4.184, slice(None), 0)


@way("milligrams in columns of grams", "meals", UNIT)
def _milligrams(file: File, _: Rng) -> File | None:
    return scaled(file, ("carbs_g", "protein_g", "fat_g"), 1000, slice(None))


@way("ounces in columns of grams", "meals", UNIT + "|grams")
def _ounces(file: File, _: Rng) -> File | None:
    return scaled(file, ("carbs_g", "protein_g", "fat_g"), 1 / 28.35, slice(None), 1)
