"""Turns streams into a row a day and a row a meal; knows physiology, no statistics."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from miner.tables.checking import check
from miner.tables.days import DAYS
from miner.tables.meals import MEALS
from miner.tables.referral import cautions
from miner.tables.unit_table import UnitTable

if TYPE_CHECKING:
    from miner.records.client import Client
    from miner.rulebook import RuleBook
    from miner.tables.units import UnitSpecification

__all__ = ["UNITS", "UnitTable", "cautions", "check", "tabulate"]

UNITS: dict[str, UnitSpecification[Any]] = {each.unit: each for each in (DAYS, MEALS)}
"""What each unit is, by its name."""


def tabulate(client: Client, rules: RuleBook, unit: str) -> UnitTable:
    """Return a client's table of one unit, "day" or "meal"; it is made once."""
    return UNITS[unit].table(client, rules)
