"""The weekly check for people."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from miner.core.messages import Message, message, several
from miner.rulebook import RuleBook
from miner.words.cautions import CautionBlocks
from miner.words.document import Parts, heading, paragraph, section, table
from miner.words.document import item as numbered
from miner.words.door import folder_now
from miner.words.noting import not_ticked_parts
from miner.words.sentences import factor_words, outcome_label
from miner.words.wording import capital, day_and_month, listed, span_words

if TYPE_CHECKING:
    from miner.core.results.week import Logged, OpenQuestion, Week


def week_first(week: Week) -> Parts:
    """Return what comes before anything else of the client."""
    return CautionBlocks(week.cautions).first()


def week_parts(week: Week, *, cautioned: bool = True, detail: bool = False) -> Parts:
    """Return a weekly check as headings, paragraphs and a table.

    Args:
        week: what ``week`` found.
        cautioned: begin with what comes before anything else; else that is said elsewhere.
        detail: what was noted on each day as well.
    """
    text: Parts = [paragraph(str(week.message), 2)] if week.message else []
    return [
        *(week_first(week) if cautioned else []),
        heading(f"{week.client}, {span_words(week.days[0], week.days[-1])}"),
        paragraph(_counted(week)),
        *(paragraph(note) for note in week.notes),
        *not_ticked_parts(week.not_ticked, str(folder_now())),
        *section("Tests that wait", [paragraph(str(each), 2) for each in week.paused]),
        *_questions(week),
        *section("Message to send", text),
        *(section("What was noted, by day", _logged(week)) if detail else []),
    ]


def _counted(week: Week) -> str:
    """Return on how many days there is something of each stream."""
    (first, seen), *others = week.logged.items()
    said = [f"{first} {seen.days} of {several(len(week.days), 'day')}"]
    return ", ".join([*said, *(f"{name} {each.days}" for name, each in others)])


def _logged(week: Week) -> Parts:
    columns = ["", *(f">{day_and_month(day, short=True)}" for day in week.days), ">days"]
    rows = [[name, *_cells(seen), str(seen.days)] for name, seen in week.logged.items()]
    return table(columns, rows, gap=2)


def _cells(seen: Logged) -> list[str]:
    if seen.unit == "hours":
        return [f"{value:.0f} h" for value in seen.by_day]
    return [f"{value:.0f}" if value else "-" for value in seen.by_day]


TITLES = {"fixed": "Questions", "kept": "Kept patterns"}


def _questions(week: Week) -> Parts:
    if not week.questions:
        return section(TITLES["fixed"], [paragraph(str(message("words.no_open_question")), 2)])
    groups: dict[tuple[str, str, int, str], list[OpenQuestion]] = {}
    for one in week.questions:
        key = one.kind, one.since, one.need_each_side, one.unit_of
        groups.setdefault(key, []).append(one)
    parts: Parts = []
    for (kind, since, need, unit), questions in groups.items():
        counted = f", counted since {day_and_month(since, short=True)}" if since else ""
        each = f" (each needs {several(need, unit)} with and {need} without)"
        lines: Parts = [numbered(str(at), str(one.sentence)) for at, one in enumerate(questions, 1)]
        parts += section(f"{TITLES[kind]}{counted}{each}", lines)
    return parts


def question_sentence(item: OpenQuestion, rules: RuleBook) -> str:
    """Return how far a question is, in one or two sentences."""
    unit = item.unit_of
    habit = capital(" and ".join(factor_words(name, rules, unit) for name in item.factors))
    label = outcome_label(item.outcome, rules, unit)
    counts = f"{habit} ({label}): {item.with_} with, {item.without} without"
    if item.unknown:
        counts += f", {item.unknown} not known"
        counts += f" ({item.why_unknown})" if item.why_unknown else ""
    if item.enough:
        return f"{counts}. That is enough to look."
    if item.days_to_enough is not None:
        return f"{counts}. About {several(item.days_to_enough, 'more day')}."
    if item.never:
        return f"{counts}. At this pace it will never be enough."
    return f"{counts}. It is too early to say how many more days it takes."


CALLED = {"activity": "movement", "tags": "notes"}
"""What a client calls a stream, where that is another word."""
THINGS = {1: "One thing", 2: "Two things", 3: "Three things"}


def week_message(advice: Sequence[Message], kept: Sequence[str]) -> str:
    """Return a message to the client, ready to send; there is no number of glucose in it.

    Args:
        advice: what would help most.
        kept: the streams that are complete.
    """
    said = ["Hello, and thank you for this week."]
    if kept:
        names = listed([CALLED.get(name, name) for name in kept])
        is_ = "are" if len(kept) > 1 or kept[0] in ("meals", "tags") else "is"
        said.append(f"Your {names} {is_} here for every day.")
    if advice:
        said.append(f"{THINGS.get(len(advice), 'A few things')} would help next week.")
        said += [str(each.values["asked"]) for each in advice]
    else:
        said.append("Nothing is missing, so please go on as you do.")
    said.append("A day with no notes is fine. We will just count it as not known.")
    return " ".join(said)
