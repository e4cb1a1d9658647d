"""The meal table of a client, and pairs of meals that come back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from miner.api.steps import refuse_stopped, rules_of
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.tables.meals import meal_table as _meal_table
from miner.tables.unit_table import UnitTable

if TYPE_CHECKING:
    import pandas as pd


def meals(client: Client, rules: RuleBook | None = None) -> UnitTable:
    """Return one row a meal or snack.

    Raises:
        MinerError: a finding of the check stops the work.
    """
    refuse_stopped(client)
    return _meal_table(client, rules_of(client, rules))


def meal_table(client: Client, rules: RuleBook | None = None) -> pd.DataFrame:
    """Return one row a meal or snack as a DataFrame: outcomes and factors by name."""
    return meals(client, rules).frame
