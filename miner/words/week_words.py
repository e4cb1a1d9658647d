"""Words of the weekly check: how far a question is, and what is worth logging."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.errors import several
from miner.core.messages import Message
from miner.core.results.week import OpenQuestion
from miner.rulebook import RuleBook
from miner.words.labels import factor_phrase, outcome_label


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
