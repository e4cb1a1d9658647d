"""``miner follow``: read everything kept on days that did not suggest it."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import put_json, show
from miner.cli.reading import before_patterns, records
from miner.cli.waiting import progress


@click.command("follow")
@client_argument
@format_option("text", "json")
def command(client: Path, rules: Path | None, form: str) -> None:
    """Tell what new days say of what was kept: counts before its date, then one verdict."""
    from miner import steps
    from miner.words.follow import follow_parts

    with progress("Reading new days"):
        read, books = records(client, rules)
        found = steps.follow(read, books, remember=True)
    if form == "json":
        put_json(found.to_dict())
    else:
        said = follow_parts(found, books, display_unit=read.settings.display_unit)
        show([*before_patterns(read, books), *said])
