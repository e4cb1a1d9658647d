"""The steps of the whole job as functions; the command line and the page call nothing else."""

from miner.api.asking import ask, error_rate, fix_question, why
from miner.api.meals import meal_table, meals
from miner.api.ranking import rank
from miner.api.steps import (
    check,
    day_table,
    days,
    load_rules,
    read_client,
    write_demo,
)

__all__ = [
    "ask",
    "check",
    "day_table",
    "days",
    "error_rate",
    "fix_question",
    "load_rules",
    "meal_table",
    "meals",
    "rank",
    "read_client",
    "why",
    "write_demo",
]
