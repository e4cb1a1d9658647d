"""``miner why``: every unit behind a hypothesis, ready to be argued with."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import WIDEST, put_as
from miner.cli.reading import cautioned, records
from miner.cli.waiting import progress


@click.command("why")
@client_argument
@click.argument("id_", metavar="ID")
@format_option("text", "json", "csv")
def command(client: Path, rules: Path | None, id_: str, form: str) -> None:
    """Print every day (or meal) behind a hypothesis, with the file and row of each value.

    ID is printed beside each entry of 'miner rank'.
    """
    from miner import steps
    from miner.render.values import why_csv
    from miner.words.why import why_parts

    with progress("cli.looking_up"):
        read, books = records(client, rules)
        found = steps.why(read, id_.strip().lower(), books, remember=True)
    unit = read.settings.display_unit
    put_as(
        form,
        WIDEST,
        text=lambda: cautioned(read, books, why_parts(found, books, display_unit=unit)),
        json=found.to_dict,
        csv=lambda: why_csv(found),
    )
