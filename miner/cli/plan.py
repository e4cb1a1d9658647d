"""``miner plan``: an alternating test in one person."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from miner.cli.brief import may_be_written, require_folder
from miner.cli.options import client_argument, day, format_option
from miner.cli.output import put_json, show
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.errors import MinerError
from miner.core.files import write_whole

if TYPE_CHECKING:
    from miner.core.results import Plan
    from miner.rulebook import RuleBook


CALENDAR = b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//miner//"


@click.command("plan")
@client_argument
@click.argument("id_", metavar="ID")
@format_option("text", "json")
@click.option(
    "--start", type=day, metavar="DATE", help="First day; required, unless ID names a plan."
)
@click.option("--preview", is_flag=True, help="Show what it takes; write no plan.")
@click.option("--worth-having", type=float, metavar="SIZE", help="A larger difference to find.")
@click.option("--pairs", type=int, metavar="N", help="How many pairs, six at the least.")
@click.option("--sensor-days", type=click.IntRange(5, 30), default=14, show_default=True)
@click.option("--calendar", type=click.Path(path_type=Path), help="Write a calendar file, .ics.")
@click.option("--page", type=click.Path(path_type=Path), help="Write a page to print, .html.")
def command(
    client: Path, rules: Path | None, form: str, id_: str, start: str | None, preview: bool,
    calendar: Path | None, page: Path | None, **words: Any,
) -> None:  # fmt: skip
    """Plan an alternating test of ID: usual days and days of a change, in an order of coins.

    The coins are thrown once, when the plan is written; --preview shows the rest before, and is a
    look where ID is not kept yet. With the name of a plan in place of ID it is shown, and written
    to files, again.
    """
    from miner import steps

    if preview and (calendar or page):
        raise nothing_drawn()
    places_will_do(calendar, page)
    with progress("Planning") as report:
        read, books = records(client, rules)
        made = steps.written_plan(read, id_)
        if made is None:
            wish = steps.Wish(first_day(start), **words)
            made = steps.plan(read, id_, wish, books, preview=preview, progress=report)
    write_files(made, books, calendar, page)
    if form == "json":
        put_json(made.to_dict())
    else:
        from miner.words.plan import plan_parts

        show(plan_parts(made, books, display_unit=read.settings.display_unit))


def first_day(start: str | None) -> date:
    """Return the first day that was asked for.

    Raises:
        MinerError: none was.
    """
    if start is None:
        raise MinerError(
            "--start is missing", "the first day, like 2026-03-01",
            "Add --start DATE; of a plan that is written, give its name in place of ID.",
        )  # fmt: skip
    return date.fromisoformat(start)


def nothing_drawn() -> MinerError:
    """Return that a preview has no order to write to a file."""
    return MinerError(
        "--preview stands with a file to write", "--preview alone: the order is not drawn yet",
        "Leave out --calendar and --page, or agree: leave out --preview.",
    )  # fmt: skip


def places_will_do(calendar: Path | None, page: Path | None) -> None:
    """Check that the files may be written here, before anything is agreed.

    Raises:
        MinerError: one may not.
    """
    if page is not None:
        may_be_written(page)
    if calendar is None:
        return
    if calendar.suffix.lower() != ".ics":
        raise MinerError(
            f"--calendar {calendar.name} is not the name of a calendar",
            "a name that ends in .ics", "Give it that ending.",
        )  # fmt: skip
    if calendar.exists() and (calendar.is_dir() or not calendar.read_bytes().startswith(CALENDAR)):
        raise MinerError(
            "there is a file here that miner did not write", "a new file, or a calendar of miner's",
            "Choose another name.", file=calendar,
        )  # fmt: skip
    require_folder(calendar)


def write_files(made: Plan, books: RuleBook, calendar: Path | None, page: Path | None) -> None:
    """Write the calendar file and the page that were asked for."""
    if calendar is not None:
        from miner.words.plan_calendar import plan_calendar

        write_whole(calendar, plan_calendar(made))
    if page is not None:
        from miner.render.papers.plan_page import plan_page

        write_whole(page, plan_page(made, books))
