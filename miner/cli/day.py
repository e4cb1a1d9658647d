"""``miner day``: one day of a client, or a practice's morning."""

from __future__ import annotations

from datetime import date as Date  # noqa: N812 (the argument is called date)
from pathlib import Path

import click

from miner.cli.options import day, debug_option, format_option
from miner.cli.output import put_json, show
from miner.cli.picture import require_form, write_picture
from miner.cli.reading import records, shown
from miner.cli.waiting import progress
from miner.core.errors import MinerError


@click.command("day")
@click.argument("client", type=click.Path(path_type=Path), metavar="CLIENT|PRACTICE")
@click.argument("date", type=day, required=False)
@click.option("--rules", type=click.Path(path_type=Path), help="A folder with rule books.")
@format_option("text", "json")
@click.option("--out", type=click.Path(path_type=Path), help="Draw the day: .svg, .png, .html.")
@click.option("--on", type=day, metavar="DATE", help="A practice's morning; by default today's.")
@click.option("--detail", is_flag=True, help="Every other measure of the day below it.")
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
    """Tell one day of a client, wake to wake; of a practice, whom to look at first."""
    from miner.steps.practice_mornings import is_practice

    if is_practice(client):
        _practice(client, date, rules, form, out, on)
    else:
        if on is not None:
            raise MinerError(
                f"--on {on} names a morning of a practice, and this is one client",
                "miner day CLIENT DATE for one day of a client",
                f"Name the day after the folder: miner day CLIENT {on}.",
                file=client,
            )
        _client(client, date, rules, form, out, detail)


def _client(
    folder: Path, date: str | None, rules: Path | None, form: str, out: Path | None, detail: bool
) -> None:
    from miner import steps
    from miner.words.day import day_parts

    if out is not None:
        require_form(out)
    with progress("Looking at the day"):
        read, books = records(folder, rules)
        found = steps.day_review(read, date, books)
        shown(read, None, found.date)
    unit = read.settings.display_unit
    if form == "json":
        put_json(found.to_dict())
    else:
        show(day_parts(found, unit, detail=detail))
    if out is not None:
        from miner.render.figures.day_picture import day_picture
        from miner.words.morning_words import NOT_A_PATTERN

        title = f"{found.client}, {found.date}"
        write_picture(
            day_picture(found, unit), out, title, (*found.of_client, NOT_A_PATTERN, *found.cautions)
        )


def _practice(
    folder: Path, date: str | None, rules: Path | None, form: str, out: Path | None, on: str | None
) -> None:
    from miner import steps
    from miner.words.day import practice_parts

    if date is not None or out is not None:
        raise MinerError(
            "a practice has no day of its own and no picture",
            "miner day PRACTICE, with --on for another morning",
            "Name one client's folder, or leave out the day and --out.",
        )
    with progress("Looking at every client"):
        found = steps.practice_morning(
            folder, Date.fromisoformat(on) if on else Date.today(), rules
        )
    if form == "json":
        put_json(found.to_dict())
    else:
        show(practice_parts(found))
