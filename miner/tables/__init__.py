"""Turns streams into a row a day and a row a meal; knows physiology, no statistics."""

from miner.tables.checking import check
from miner.tables.days import day_table
from miner.tables.referral import cautions
from miner.tables.unit_table import UnitTable

__all__ = ["UnitTable", "cautions", "check", "day_table"]
