"""``miner plan``: an alternating test in one person."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from miner.cli.options import (
    DAY,
    PATH,
    OneOf,
    Whole,
    client_argument,
    format_option,
    pattern_argument,
)
from miner.cli.output import put_as
from miner.cli.places import may_be_written
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.files import write_whole
from miner.core.messages import MinerError

if TYPE_CHECKING:
    from miner.core.results import Plan
    from miner.rulebook import RuleBook
    from miner.words.document import Parts


@click.command("plan")
@client_argument
@pattern_argument
@format_option("text", "json")
@click.option(
    "--start", type=DAY, metavar="DATE", help="Begin the test on this day, such as 2026-03-02."
)
@click.option("--preview", is_flag=True, help="Show how long a test takes, and write no plan.")
@click.option(
    "--detail", is_flag=True, help="Add the days of the test and when to stop, to a preview."
)
@click.option(
    "--worth-having",
    type=float,
    metavar="SIZE",
    help="Look for a difference of this size or more, in the unit of the practice.",
)
@click.option(
    "--length", type=OneOf("short", "middle", "long"), help="Take at most 4, 8 or 16 weeks."
)
@click.option(
    "--meal", type=OneOf("breakfast", "lunch", "dinner"), help="Say which meal the change is about."
)
@click.option(
    "--pairs", type=int, metavar="N", help="Take this many pairs of periods, at least six."
)
@click.option(
    "--sensor-days",
    type=Whole(5, 30),
    help="Say how many days a sensor is worn, instead of sensor_days in the settings.",
)
@click.option(
    "--calendar", type=PATH, metavar="FILE", help="Write a calendar file that ends in .ics."
)
@click.option("--page", type=PATH, metavar="FILE", help="Write a page to print that ends in .html.")
def command(
    client: Path,
    rules: Path | None,
    form: str,
    pattern: str,
    start: str | None,
    preview: bool,
    detail: bool,
    calendar: Path | None,
    page: Path | None,
    **words: Any,
) -> None:
    """Plan a test of one change with the client.

    PATTERN is its number in the last ranking, its ID, or the name of a plan written before.
    Periods with the change and periods as usual take turns, in an order that is drawn by lot once,
    when the plan is written. --preview shows before that how long a test takes. It counts as a look
    where the pattern is not kept yet.
    """
    from miner import steps
    from miner.words.lengths import preview_parts
    from miner.words.plan import plan_parts
    from miner.words.said import rules_at_door

    if preview and (calendar or page):
        raise MinerError("cli.preview_with_files")
    if page is not None:
        may_be_written(page)
    if calendar is not None:
        may_be_written(calendar, "calendar")
    with progress("cli.planning") as report:
        read, books = records(client, rules)
        id_ = steps.id_of_number(read, pattern)
        made = steps.written_plan(read, id_)
        if made is None:
            if start is None:
                raise MinerError("cli.start_missing")
            unit = read.settings.display_unit
            wish = steps.Wish(date.fromisoformat(start), glucose_in=unit, **words)
            made = steps.plan(read, id_, wish, books, preview=preview, progress=report)
    code, unit = read.settings.code, read.settings.display_unit
    if made.written:
        write_files(made, books, code, calendar, page)

    def told() -> Parts:
        if made.written:
            return plan_parts(made, rules_at_door(books), display_unit=unit)
        return preview_parts(made, rules_at_door(books), code, display_unit=unit, detail=detail)

    put_as(form, text=told, json=made.to_dict)


def write_files(
    made: Plan, books: RuleBook, client: str, calendar: Path | None, page: Path | None
) -> None:
    """Write the calendar file and the page that were asked for."""
    if calendar is not None:
        from miner.words.plan import plan_calendar

        write_whole(calendar, plan_calendar(made, books))
    if page is not None:
        from miner.render.pages import plan_page

        write_whole(page, plan_page(made, books, client))
