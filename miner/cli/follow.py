"""``miner follow``: read everything kept on days that did not suggest it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import put_as
from miner.cli.reading import cautioned, records
from miner.cli.waiting import progress

if TYPE_CHECKING:
    from miner.words.document import Parts


@click.command("follow")
@client_argument
@format_option("text", "json")
def command(client: Path, rules: Path | None, form: str) -> None:
    """Tell what new days say of what was kept: counts before its date, then one verdict."""
    from miner import steps
    from miner.words.follow import follow_parts

    with progress("cli.reading_new_days"):
        read, books = records(client, rules)
        found = steps.follow(read, books, remember=True)

    def parts() -> Parts:
        said = follow_parts(found, books, display_unit=read.settings.display_unit)
        return cautioned(read, books, said, beside=False)

    put_as(form, text=parts, json=found.to_dict)
