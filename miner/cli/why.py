"""``miner why``: every unit behind a hypothesis, ready to be argued with."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import WIDEST, put, put_json, show
from miner.cli.reading import before_patterns, beside_patterns, records
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
    from miner.words.why import why_csv, why_parts

    with progress("Looking up"):
        read, books = records(client, rules)
        found = steps.why(read, id_.strip().lower(), books, remember=True)
    if form == "json":
        put_json(found.to_dict())
    elif form == "csv":
        put(why_csv(found))
    else:
        said = why_parts(found, books, display_unit=read.settings.display_unit)
        show([*before_patterns(read, books), *said, *beside_patterns(read, books)], WIDEST)
