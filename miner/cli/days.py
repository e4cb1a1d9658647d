"""``miner days``: the daily table."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import put_as
from miner.cli.reading import records, shown
from miner.cli.waiting import progress


@click.command("days")
@client_argument
@format_option("text", "json", "csv")
def command(client: Path, rules: Path | None, form: str) -> None:
    """Show the table of days, with glucose measures and habits.

    What is not known stays empty, and is not taken as a no.
    """
    from miner import steps
    from miner.render import values
    from miner.words.days import days_parts

    with progress("cli.daily_table"):
        read, books = records(client, rules)
        table = steps.days(read, books)
        shown(read, table)
    code, unit = read.settings.code, read.settings.display_unit
    put_as(
        form,
        text=lambda: days_parts(code, table, books, display_unit=unit),
        json=lambda: values.table_dict(code, table),
        csv=lambda: values.table_csv(table),
    )
