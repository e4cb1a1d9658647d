"""The steps of the whole job as functions; the command line and the page call nothing else.

A step is loaded when it is first named: a command waits for its own modules only.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from miner.core.results.briefing import PageChoices
    from miner.followup.planning import Wish
    from miner.records.write.entering import DiaryEntry
    from miner.steps.asking import ask, error_rate, why
    from miner.steps.caseload import pool, rules_of_practice
    from miner.steps.checking import cautions, check, check_records, pauses_told, with_folder
    from miner.steps.choosing import choose, choose_by_code, undo_choice
    from miner.steps.clinician import note_clinician, take_clinician_back
    from miner.steps.exporting import export, export_files
    from miner.steps.fixing import fix_question, fixed_questions
    from miner.steps.following import drop, follow, result
    from miner.steps.inventing import generate, write_demo
    from miner.steps.keeping import keep, plan
    from miner.steps.looks import remember_shown
    from miner.steps.mapping import Look, look_at, map_file, source_of, undo_mapping
    from miner.steps.meal_steps import compare_meals, repeats
    from miner.steps.merging import merge, merges, part
    from miner.steps.morning import (
        client_morning,
        day_review,
        is_practice,
        newest_whole_by,
        practice_morning,
        records_by_day,
        review_of,
        with_notes,
    )
    from miner.steps.noting import (
        correct,
        notebook,
        take_back,
        take_out,
        write_note,
    )
    from miner.steps.numbers import id_of_number, remember_numbers
    from miner.steps.opening import (
        day_table,
        days,
        load_rules,
        meal_table,
        meals,
        read_client,
        table_of,
    )
    from miner.steps.pages import (
        ArchiveTexts,
        briefing,
        export_everything,
        remember_shared,
        write_pages,
    )
    from miner.steps.ranking import rank
    from miner.steps.states import (
        client_state,
        practice_states,
        states_of_caseload,
        without_records,
    )
    from miner.steps.story import chosen_now, followup_state, history, written_plan
    from miner.steps.suggesting import suggested_questions
    from miner.steps.ticking import (
        Ticking,
        days_not_ticked,
        days_over,
        last_ticks,
        open_plans,
        sheet_of,
        take_back_ticks,
        tick,
    )
    from miner.steps.weeks import week
    from miner.steps.who_is_pooled import keep_only, keeps_results, remember_page

_HOME = {
    name: home
    for home, names in {
        "miner.core.results.briefing": ("PageChoices",),
        "miner.followup.planning": ("Wish",),
        "miner.records.write.entering": ("DiaryEntry",),
        "miner.steps.asking": ("ask", "error_rate", "why"),
        "miner.steps.caseload": ("pool", "rules_of_practice"),
        "miner.steps.suggesting": ("suggested_questions",),
        "miner.steps.checking": (
            "cautions",
            "check",
            "check_records",
            "pauses_told",
            "with_folder",
        ),
        "miner.steps.clinician": ("note_clinician", "take_clinician_back"),
        "miner.steps.choosing": ("choose", "choose_by_code", "undo_choice"),
        "miner.steps.exporting": ("export", "export_files"),
        "miner.steps.fixing": ("fix_question", "fixed_questions"),
        "miner.steps.following": ("drop", "follow", "result"),
        "miner.steps.inventing": ("generate", "write_demo"),
        "miner.steps.keeping": ("keep", "plan"),
        "miner.steps.looks": ("remember_shown",),
        "miner.steps.mapping": ("Look", "look_at", "map_file", "source_of", "undo_mapping"),
        "miner.steps.meal_steps": ("compare_meals", "repeats"),
        "miner.steps.merging": ("merge", "merges", "part"),
        "miner.steps.morning": (
            "client_morning",
            "day_review",
            "is_practice",
            "newest_whole_by",
            "practice_morning",
            "records_by_day",
            "review_of",
            "with_notes",
        ),
        "miner.steps.noting": (
            "correct",
            "notebook",
            "take_back",
            "take_out",
            "write_note",
        ),
        "miner.steps.numbers": ("id_of_number", "remember_numbers"),
        "miner.steps.opening": (
            "day_table",
            "days",
            "load_rules",
            "meal_table",
            "meals",
            "read_client",
            "table_of",
        ),
        "miner.steps.pages": (
            "ArchiveTexts",
            "briefing",
            "export_everything",
            "remember_shared",
            "write_pages",
        ),
        "miner.steps.ranking": ("rank",),
        "miner.steps.states": (
            "client_state",
            "practice_states",
            "states_of_caseload",
            "without_records",
        ),
        "miner.steps.story": ("chosen_now", "followup_state", "history", "written_plan"),
        "miner.steps.ticking": (
            "Ticking",
            "days_not_ticked",
            "days_over",
            "last_ticks",
            "open_plans",
            "sheet_of",
            "take_back_ticks",
            "tick",
        ),
        "miner.steps.weeks": ("week",),
        "miner.steps.who_is_pooled": ("keep_only", "keeps_results", "remember_page"),
    }.items()
    for name in names
}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    """Load a step.

    Source: Levkivskyi 2017, PEP 562, Module __getattr__.
    """
    if name not in _HOME:
        raise AttributeError(f"no attribute {name!r}")
    step = getattr(import_module(_HOME[name]), name)
    globals()[name] = step
    return step
