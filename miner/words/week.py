"""The weekly check for people."""

from __future__ import annotations

from miner.core.messages import message
from miner.core.results.week import Logged, Week
from miner.words.cautions import Cautions
from miner.words.document import Part, Parts, Side, heading, paragraph, section, table


def week_parts(week: Week) -> Parts:
    """Return a weekly check as headings, paragraphs and a table."""
    lines = str(week.message).split("\n") if week.message else []
    return [
        *Cautions(week.cautions).first(),
        heading(f"{week.client}, {week.days[0]} to {week.days[-1]}."),
        *(paragraph(note) for note in week.notes),
        *section("Logged, by day", [_logged(week)]),
        *section("Open questions", _questions(week)),
        *section("A message, ready to send", [paragraph(x, 2) for x in lines]),
    ]


def _logged(week: Week) -> Part:
    right: Side = "right"
    columns = [("stream", "left"), *((day[5:], right) for day in week.days), ("days", right)]
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
