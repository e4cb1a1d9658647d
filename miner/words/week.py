"""The weekly check for people."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from miner.core.messages import Message, message, several
from miner.rulebook import RuleBook
from miner.words.cautions import CautionBlocks
from miner.words.document import Parts, heading, paragraph, section, table
from miner.words.noting import not_ticked_parts
from miner.words.sentences import factor_phrase, outcome_label

if TYPE_CHECKING:
    from miner.core.results.week import Logged, OpenQuestion, Week


def week_first(week: Week) -> Parts:
    """Return what comes before anything else of the client."""
    return CautionBlocks(week.cautions).first()


def week_parts(week: Week, *, cautioned: bool = True) -> Parts:
    """Return a weekly check as headings, paragraphs and a table.

    Args:
        week: what ``week`` found.
        cautioned: begin with what comes before anything else; else that is said elsewhere.
    """
    lines = str(week.message).split("\n") if week.message else []
    return [
        *(week_first(week) if cautioned else []),
        heading(f"{week.client}, {week.days[0]} to {week.days[-1]}."),
        *(paragraph(note) for note in week.notes),
        *not_ticked_parts(week.not_ticked, week.client),
        *section("Logged, by day", _logged(week)),
        *section("Tests that wait", [paragraph(str(each), 2) for each in week.paused]),
        *section("Open questions", _questions(week)),
        *section("A message, ready to send", [paragraph(x, 2) for x in lines]),
    ]


def _logged(week: Week) -> Parts:
    columns = ["stream", *(f">{day[5:]}" for day in week.days), ">days"]
    rows = [[name, *_cells(seen), str(seen.days)] for name, seen in week.logged.items()]
    return table(columns, rows, gap=2)


def _cells(seen: Logged) -> list[str]:
    if seen.unit == "hours":
        return [f"{value:.0f} h" for value in seen.by_day]
    return [f"{value:.0f}" if value else "-" for value in seen.by_day]


def _questions(week: Week) -> Parts:
    if not week.questions:
        return [paragraph(str(message("words.no_open_question")), 2)]
    return [
        paragraph(
            f"{item.kind}{f' {item.id}' if item.id else ''}: {item.sentence}"
            + (
                f" Unknown mostly: {item.why_unknown}." if item.unknown and item.why_unknown else ""
            ),
            2,
        )
        for item in week.questions
    ]


def question_sentence(item: OpenQuestion, rules: RuleBook) -> str:
    """Return how far a question is, in one or two sentences."""
    unit = item.unit_of
    habit = " and ".join(factor_phrase(name, rules, unit) for name in item.factors)
    label = outcome_label(item.outcome, rules, unit)
    since = f" since {item.since}" if item.since else ""
    counts = (
        f"{habit} and {label}{since}: {several(item.with_, unit)} with it, {item.without} without, "
        f"{item.unknown} unknown."
    )
    need = f"It takes {item.need_each_side} of each and {item.need_units} in all."
    if item.enough:
        return f"{counts} That is enough to look."
    if item.days_to_enough is not None:
        return f"{counts} {need} At this pace: {several(item.days_to_enough, 'more day')}."
    if item.never:
        return f"{counts} {need} Never at this pace."
    return f"{counts} {need} Too early to tell the pace."


def week_message(advice: Sequence[Message], kept: Sequence[str]) -> str:
    """Return a message to the client, ready to send; there is no number of glucose in it.

    Args:
        advice: what would help most.
        kept: the streams that are complete.
    """
    lines = ["Hello, thank you for this week's records."]
    if kept:
        lines.append(f"Complete on every day: {', '.join(kept)}.")
    if advice:
        lines += ["What would help most in the coming week:", *(f"- {item}" for item in advice)]
    else:
        lines.append("Nothing is missing. Please go on as you do.")
    lines.append("A day without notes is no problem: it simply stays unknown.")
    return "\n".join(lines)
