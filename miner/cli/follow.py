"""``miner follow``: read everything kept on days that did not suggest it."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import put_as
from miner.cli.reading import cautioned, records
from miner.cli.waiting import progress


@click.command("follow")
@client_argument
@format_option("text", "json")
def command(client: Path, rules: Path | None, form: str) -> None:
    """Show whether kept patterns held on new days.

    Until the reading date of a pattern, the command only counts its days.
    """
    from miner import steps
    from miner.words.follow import follow_parts
    from miner.words.said import rules_at_door

    with progress("cli.reading_new_days"):
        read, books = records(client, rules)
        found = steps.follow(read, books, remember=True)
    unit, said = read.settings.display_unit, rules_at_door(books)
    put_as(
        form,
        text=lambda: cautioned(
            read, books, follow_parts(found, said, display_unit=unit), beside=False
        ),
        json=found.to_dict,
    )
