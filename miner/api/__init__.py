"""The steps of the whole job as functions; the command line and the page call nothing else."""

from miner.api.asking import ask, error_rate, why
from miner.api.briefing import briefing
from miner.api.caseload import pool, remember_page, rules_of_practice
from miner.api.everything import export_everything
from miner.api.fixing import fix_question, fixed_questions
from miner.api.following import drop, follow, keep
from miner.api.generate import generate
from miner.api.meals import compare_meals, meal_table, meals, repeats
from miner.api.morning import day_review
from miner.api.pages import write_pages
from miner.api.planning import plan
from miner.api.practice_morning import practice_morning
from miner.api.ranking import rank
from miner.api.results_of_plans import result
from miner.api.sharing import remember_shared
from miner.api.steps import (
    cautions,
    check,
    day_table,
    days,
    load_rules,
    read_client,
    write_demo,
)
from miner.api.story import history
from miner.api.written_plan import written_plan
from miner.followup.planner import Wish

__all__ = [
    "Wish",
    "ask",
    "briefing",
    "cautions",
    "check",
    "compare_meals",
    "day_review",
    "day_table",
    "days",
    "drop",
    "error_rate",
    "export_everything",
    "fix_question",
    "fixed_questions",
    "follow",
    "generate",
    "history",
    "keep",
    "load_rules",
    "meal_table",
    "meals",
    "plan",
    "pool",
    "practice_morning",
    "rank",
    "read_client",
    "remember_page",
    "remember_shared",
    "repeats",
    "result",
    "rules_of_practice",
    "why",
    "write_demo",
    "write_pages",
    "written_plan",
]
