"""Invented clients with known truths, written as raw exports.

For the demo, for trying scale, and for measuring how often something is claimed where nothing is
true. Everything is drawn from a seed: the same scenario gives the same bytes.

    scenario = Scenario("client-01", effects=(Effect("short_sleep", "wake_glucose", 12.0),))
    truth = write_client(Path("client-01"), scenario)
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from .export import write_client
from .practice import demo_scenarios, living_scenarios, scenarios, write_practice
from .scenario import Effect, Habit, Scenario, usual_habits
from .world import World, simulate

__all__ = [
    "Effect",
    "Habit",
    "Scenario",
    "World",
    "demo_scenarios",
    "effect_client",
    "effect_scenario",
    "living_scenarios",
    "null_client",
    "null_scenario",
    "scenarios",
    "simulate",
    "usual_habits",
    "write_client",
    "write_practice",
]


def null_scenario(seed: int, days: int = 35, reactive: bool = False, **changes: Any) -> Scenario:
    """Return a client in whom nothing is true: no habit moves any part of the latent glucose.

    Rises keep to their own times, whatever is logged. Habits persist and, where ``reactive``,
    become likelier after a day with a high level. ``changes`` replaces any field of the scenario.
    """
    fields: dict[str, Any] = {"days": days, "seed": seed, "reactive": reactive}
    return Scenario("client-01", **(fields | {"linked_meals": False} | changes))


def effect_scenario(
    seed: int, factor: str, size: float, days: int = 35, persistence: float = 0.5, **changes: Any
) -> Scenario:
    """Return a client with one true effect and everything else as in ``null_scenario``.

    Args:
        seed: seed of the client.
        factor: ``short_sleep`` (moves that morning's waking glucose) or ``late_dinner`` (moves the
            mean of the night that follows); any other habit moves the next morning.
        size: mg/dL.
        days: days of records.
        persistence: correlation of the day's level with the day before.
        changes: other fields of the scenario.
    """
    outcome = "overnight_mean" if factor == "late_dinner" else "wake_glucose"
    effects = (Effect(factor, outcome, size),)
    return null_scenario(seed, days, effects=effects, persistence=persistence, **changes)


def null_client(
    folder: Path, seed: int, days: int = 35, reactive: bool = False, **changes: Any
) -> dict[str, Any]:
    """Write a client of ``null_scenario`` and return its truth, as ``write_client`` does."""
    return write_client(folder, null_scenario(seed, days, reactive, **changes))


def effect_client(
    folder: Path,
    seed: int,
    factor: str,
    size: float,
    days: int = 35,
    persistence: float = 0.5,
    **changes: Any,
) -> dict[str, Any]:
    """Write a client of ``effect_scenario`` and return its truth, as ``write_client`` does."""
    return write_client(folder, effect_scenario(seed, factor, size, days, persistence, **changes))
