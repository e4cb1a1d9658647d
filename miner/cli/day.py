"""``miner day``: one day of a client, or a practice's morning."""

from __future__ import annotations

from datetime import date as Date  # noqa: N812 (the argument is called date)
from pathlib import Path

import click

from miner.cli.options import DAY, PATH, debug_option, format_option
from miner.cli.output import put_as
from miner.cli.picture import FORMS, write_picture
from miner.cli.places import require_picture
from miner.cli.reading import records, shown
from miner.cli.waiting import progress
from miner.core.messages import MinerError


@click.command("day")
@click.argument("client", type=PATH, metavar="CLIENT|PRACTICE")
@click.argument("date", type=DAY, required=False)
@click.option("--rules", type=PATH, help="Use the rule books in this folder.")
@format_option("text", "json")
@click.option(
    "--out",
    type=PATH,
    metavar="FILE",
    help="Draw the day into a file that ends in .svg, .png or .html.",
)
@click.option(
    "--on",
    type=DAY,
    metavar="DATE",
    help="Show a practice as it is on this date, instead of today.",
)
@click.option("--detail", is_flag=True, help="Add every other measure of the day.")
@debug_option
def command(
    client: Path,
    date: str | None,
    rules: Path | None,
    form: str,
    out: Path | None,
    on: str | None,
    detail: bool,
) -> None:
    """Show one day of a client, or which clients to look at first.

    A client's day goes from waking to waking. For a practice, the command lists the clients that
    need attention.
    """
    from miner.steps.morning import is_practice

    if is_practice(client):
        _practice(client, date, rules, form, out, on)
    else:
        if on is not None:
            raise MinerError("cli.morning_of_one_client", day=on, file=client)
        _client(client, date, rules, form, out, detail)


def _client(
    folder: Path, date: str | None, rules: Path | None, form: str, out: Path | None, detail: bool
) -> None:
    from miner import steps
    from miner.words.day import day_parts

    if out is not None:
        require_picture(out, FORMS)
    with progress("cli.looking_at_day"):
        read, books = records(folder, rules)
        found = steps.day_review(read, date, books)
        shown(read, None, found.date)
    unit = read.settings.display_unit
    put_as(form, text=lambda: day_parts(found, unit, detail=detail), json=found.to_dict)
    if out is not None:
        from miner.render.figures.day_picture import day_picture
        from miner.words.day import NOT_A_PATTERN

        title = f"{found.client}, {found.date}"
        write_picture(
            day_picture(found, unit),
            out,
            title,
            (*map(str, found.of_client), NOT_A_PATTERN, *found.cautions),
        )


def _practice(
    folder: Path, date: str | None, rules: Path | None, form: str, out: Path | None, on: str | None
) -> None:
    from miner import steps
    from miner.words.day import practice_parts

    if date is not None or out is not None:
        raise MinerError("cli.day_of_a_practice")
    with progress("cli.looking_at_every_client"):
        found = steps.practice_morning(
            folder, Date.fromisoformat(on) if on else Date.today(), rules
        )
    put_as(form, text=lambda: practice_parts(found), json=found.to_dict)
