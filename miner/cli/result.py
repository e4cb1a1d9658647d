"""``miner result``: read an alternating test."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import put_json, show
from miner.cli.reading import before_patterns, records
from miner.cli.waiting import progress


@click.command("result")
@client_argument
@click.argument("plan")
@format_option("text", "json")
@click.option("--stopped", is_flag=True, help="""
    The client has stopped: read the pairs there are. With none complete there is no
    verdict.""")  # fmt: skip
def command(client: Path, rules: Path | None, form: str, plan: str, stopped: bool) -> None:
    """Read the alternating test PLAN by its own coins, once, when it is over."""
    from miner import steps
    from miner.words.plan import result_parts

    with progress("Reading the pairs"):
        read, books = records(client, rules)
        found = steps.result(read, plan, books, stopped=stopped)
    if form == "json":
        put_json(found.to_dict())
    else:
        said = result_parts(found, books, display_unit=read.settings.display_unit)
        show([*before_patterns(read, books), *said])
