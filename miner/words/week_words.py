"""Words of the weekly check: how far a question is, and what is worth logging."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from miner.core.errors import MinerError, several
from miner.core.results.week import Logged, OpenQuestion
from miner.rulebook import RuleBook
from miner.words.labels import factor_phrase, outcome_label

_FULL = 7
# A day without an episode is not a day without the tracker.
_EPISODES = ("stress", "activity")
_ASKED = {
    "glucose": "Please keep the sensor's reader or phone near, so that the readings have no gaps.",
    "sleep": "Please wear the tracker through the night.",
    "stress": "Please wear the tracker through the day.",
    "activity": "Please wear the tracker through the day.",
    "meals": "Please note each meal when it begins: the time and a word or two are enough.",
    "tags": "Please note something on every day, also on a day on which nothing special happened.",
}
_SEEN = {
    "glucose": "Readings for most of the day: {days} of {all} days.",
    "sleep": "Nights with a record: {days} of {all}.",
    "stress": "Days with the tracker on: {days} of {all}.",
    "activity": "Days with the tracker on: {days} of {all}.",
    "meals": "Days with a meal noted: {days} of {all}.",
    "tags": "Days with a tag noted: {days} of {all}.",
}


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


def worth_logging(
    logged: Mapping[str, Logged], questions: Sequence[OpenQuestion], rules: RuleBook
) -> tuple[str, ...]:
    """Return what would help most, streams that an open question needs first.

    Args:
        logged: the week by stream.
        questions: what is open.
        rules: the rule books.
    """
    needed: list[str] = []
    for item in questions:
        if not item.enough:
            needed += [_stream(name, item.unit_of, rules) for name in item.factors]
    used = [name for name, seen in logged.items() if seen.days]
    order = [name for name in dict.fromkeys(["glucose", *needed, *used]) if name in logged]
    advice: dict[str, str] = {}
    for name in order:
        seen = logged[name]
        if seen.days >= len(seen.by_day) or (name in _EPISODES and seen.unit != "hours"):
            continue
        told = _SEEN[name].format(days=seen.days, all=len(seen.by_day))
        advice.setdefault(_ASKED[name], told)
    return tuple(f"{told} {asked}" for asked, told in advice.items())


def _stream(factor: str, unit: str, rules: RuleBook) -> str:
    try:
        return rules.factor(factor, unit).stream
    except MinerError:
        return "tags"


def message(advice: Sequence[str], logged: Mapping[str, Logged]) -> str:
    """Return a message to the client, ready to send; there is no number of glucose in it."""
    kept = [name for name, seen in logged.items() if seen.days >= _FULL]
    lines = ["Hello, thank you for this week's records."]
    if kept:
        lines.append(f"Complete on every day: {', '.join(kept)}.")
    if advice:
        lines += ["What would help most in the coming week:", *(f"- {item}" for item in advice)]
    else:
        lines.append("Nothing is missing. Please go on as you do.")
    lines.append("A day without notes is no problem: it simply stays unknown.")
    return "\n".join(lines)
