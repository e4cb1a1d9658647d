"""The steps of the whole job as functions; the command line and the page call nothing else.

A step is loaded when it is first named: a command waits for its own modules only.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from miner.followup.planning import Wish
    from miner.records.write.entering import DiaryEntry
    from miner.steps.asking import ask, error_rate, why
    from miner.steps.caseload import pool, remember_page, rules_of_practice, suggested_questions
    from miner.steps.everything import export_everything, remember_shared, write_pages
    from miner.steps.fixing import fix_question, fixed_questions
    from miner.steps.following import drop, follow, keep
    from miner.steps.gathering import briefing
    from miner.steps.looks import remember_shown
    from miner.steps.meal_steps import compare_meals, meal_table, meals, repeats
    from miner.steps.merging import merge, merges, part
    from miner.steps.morning import day_review
    from miner.steps.noting import correct, notebook, take_back, take_out, write_note
    from miner.steps.planning import plan
    from miner.steps.practice_mornings import practice_morning
    from miner.steps.ranking import rank
    from miner.steps.records import (
        cautions,
        check,
        day_table,
        days,
        generate,
        load_rules,
        read_client,
        write_demo,
    )
    from miner.steps.results_of_plans import result
    from miner.steps.story import history, written_plan

_STEPS = {
    "asking": ("ask", "error_rate", "why"),
    "caseload": ("pool", "remember_page", "rules_of_practice", "suggested_questions"),
    "everything": ("export_everything", "remember_shared", "write_pages"),
    "fixing": ("fix_question", "fixed_questions"),
    "following": ("drop", "follow", "keep"),
    "gathering": ("briefing",),
    "looks": ("remember_shown",),
    "meal_steps": ("compare_meals", "meal_table", "meals", "repeats"),
    "merging": ("merge", "merges", "part"),
    "morning": ("day_review",),
    "noting": ("correct", "notebook", "take_back", "take_out", "write_note"),
    "planning": ("plan",),
    "practice_mornings": ("practice_morning",),
    "ranking": ("rank",),
    "records": (
        "cautions",
        "check",
        "day_table",
        "days",
        "generate",
        "load_rules",
        "read_client",
        "write_demo",
    ),
    "results_of_plans": ("result",),
    "story": ("history", "written_plan"),
}
_HOME = {name: f"miner.steps.{home}" for home, names in _STEPS.items() for name in names}
_HOME["Wish"] = "miner.followup.planning"
_HOME["DiaryEntry"] = "miner.records.write.entering"

__all__ = [
    "DiaryEntry",
    "Wish",
    "ask",
    "briefing",
    "cautions",
    "check",
    "compare_meals",
    "correct",
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
    "merge",
    "merges",
    "notebook",
    "part",
    "plan",
    "pool",
    "practice_morning",
    "rank",
    "read_client",
    "remember_page",
    "remember_shared",
    "remember_shown",
    "repeats",
    "result",
    "rules_of_practice",
    "suggested_questions",
    "take_back",
    "take_out",
    "why",
    "write_demo",
    "write_note",
    "write_pages",
    "written_plan",
]


def __getattr__(name: str) -> Any:
    """Load a step.

    Source: Levkivskyi 2017, PEP 562, Module __getattr__.
    """
    if name not in _HOME:
        raise AttributeError(f"no attribute {name!r}")
    step = getattr(import_module(_HOME[name]), name)
    globals()[name] = step
    return step
