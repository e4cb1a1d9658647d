"""``miner error-rate``: how often this analysis would claim something where nothing is true."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from miner.cli.faults import INTERRUPTED, TOO_FEW, interrupted
from miner.cli.options import Whole, client_argument, format_option
from miner.cli.output import put_as
from miner.cli.reading import records
from miner.cli.waiting import progress


@click.command("error-rate")
@client_argument
@format_option("text", "json")
@click.option(
    "--worlds",
    type=Whole(1, 100_000),
    default=200,
    show_default=True,
    help="Make this many records in which nothing is true.",
)
@click.option(
    "--draws",
    type=Whole(100, 100_000),
    default=1000,
    show_default=True,
    help="Compare each with this many shuffled records.",
)
@click.option(
    "--seed", type=Whole(0, 2**32 - 1), default=0, show_default=True, help="Make other records."
)
@click.option(
    "--workers", type=Whole(1, 256), help="Use this many processes, instead of one for each core."
)
def command(client: Path, rules: Path | None, form: str, workers: int | None, **how: Any) -> None:
    """Count how often luck alone would look like a clear pattern.

    The command makes records like this client's and ranks them. In most of them nothing is true,
    and in the others one difference of a stated size is. If you stop it with Ctrl+C, it prints what
    is finished.
    """
    from miner import steps
    from miner.words.ask import error_rate_parts

    with progress("cli.imitating") as report:
        read, books = records(client, rules)
        found = steps.error_rate(
            read, books, workers=workers or os.cpu_count() or 1, progress=report, **how
        )
    if not found.finished and not found.worlds:
        raise click.Abort
    units = read.settings.rank_unit, read.settings.display_unit
    put_as(form, text=lambda: error_rate_parts(found, books, *units), json=found.to_dict)
    if not found.finished:
        interrupted()
    code = 0 if found.worlds else TOO_FEW
    click.get_current_context().exit(code if found.finished else INTERRUPTED)
