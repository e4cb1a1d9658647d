"""Turns streams into a row a day and a row a meal; knows physiology, no statistics."""

from miner.tables.days import day_table

__all__ = ["day_table"]
