"""``miner why``: the days behind a pattern, ready to be argued with."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option, pattern_argument
from miner.cli.output import WIDEST, put_as
from miner.cli.reading import cautioned, records
from miner.cli.waiting import progress


@click.command("why")
@client_argument
@pattern_argument
@format_option("text", "json", "csv")
@click.option("--detail", is_flag=True, help="Show every day with the file and row of each value.")
def command(client: Path, rules: Path | None, pattern: str, form: str, detail: bool) -> None:
    """Show the days or meals behind a pattern.

    PATTERN is its number in the last ranking, or its ID.
    """
    from miner import steps
    from miner.render.values import why_csv
    from miner.words.why import why_parts

    with progress("cli.looking_up"):
        read, books = records(client, rules)
        asked = pattern.strip().lower()
        found = steps.why(read, steps.id_of_number(read, asked), books, remember=True)
    unit = read.settings.display_unit
    put_as(
        form,
        WIDEST if detail else 0,
        text=lambda: cautioned(
            read,
            books,
            why_parts(found, books, display_unit=unit, asked_as=asked, detail=detail),
            beside=detail,
        ),
        json=found.to_dict,
        csv=lambda: why_csv(found),
    )
