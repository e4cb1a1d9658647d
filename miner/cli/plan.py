"""``miner plan``: an alternating test in one person."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from miner.cli.options import client_argument, day, format_option
from miner.cli.output import put_json, show
from miner.cli.reading import records
from miner.cli.waiting import progress

if TYPE_CHECKING:
    from miner.results import Plan
    from miner.rulebook import RuleBook


@click.command("plan")
@client_argument
@click.argument("id_", metavar="ID")
@format_option("text", "json")
@click.option("--start", type=day, required=True, metavar="DATE", help="First day.")
@click.option("--preview", is_flag=True, help="Show what it takes; write nothing.")
@click.option("--worth-having", type=float, metavar="SIZE", help="A larger difference to find.")
@click.option("--pairs", type=int, metavar="N", help="How many pairs, six at the least.")
@click.option("--sensor-days", type=click.IntRange(5, 30), default=14, show_default=True)
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), help="Of the coins.")
@click.option("--calendar", type=click.Path(path_type=Path), help="Write a calendar file, .ics.")
@click.option("--page", type=click.Path(path_type=Path), help="Write a page to print, .html.")
def command(
    client: Path, rules: Path | None, form: str, id_: str, preview: bool,
    calendar: Path | None, page: Path | None, **words: Any,
) -> None:  # fmt: skip
    """Plan an alternating test of ID: usual days and days of a change, in an order of coins."""
    from miner import api

    words["start"] = date.fromisoformat(words["start"])
    with progress("Planning") as report:
        read, books = records(client, rules)
        made = api.plan(read, id_, api.Wish(**words), books, preview=preview, progress=report)
    write_files(made, books, calendar, page)
    if form == "json":
        put_json(made.to_dict())
    else:
        from miner.brief.text.plan import plan_parts

        show(plan_parts(made, books, display_unit=read.settings.display_unit))


def write_files(made: Plan, books: RuleBook, calendar: Path | None, page: Path | None) -> None:
    """Write the calendar file and the page that were asked for."""
    if calendar is not None:
        from miner.brief.plan_calendar import plan_calendar

        calendar.write_bytes(plan_calendar(made))
    if page is not None:
        from miner.brief.plan_page import plan_page

        page.write_text(plan_page(made, books), encoding="utf-8")
