"""``miner check``: what was read, what is wrong with it, which days can be used."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import put_json, show
from miner.cli.reading import records
from miner.cli.waiting import progress


@click.command("check")
@client_argument
@format_option("text", "json")
def command(client: Path, rules: Path | None, form: str) -> None:
    """Tell what was read, what is wrong with it, and how many days can be used."""
    from miner import api
    from miner.brief.text.check import check_parts

    with progress("Checking the records"):
        read, books = records(client, rules)
        report = api.check(read, books)
    if form == "json":
        put_json(report.to_dict())
    else:
        show(check_parts(report))
