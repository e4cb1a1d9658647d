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
    help="Months in which nothing is true.",
)
@click.option(
    "--draws", type=Whole(100, 100_000), default=1000, show_default=True, help="Shuffles a month."
)
@click.option("--seed", type=Whole(0, 2**32 - 1), default=0, show_default=True)
@click.option("--workers", type=Whole(1, 256), help="Processes; all cores by default.")
def command(client: Path, rules: Path | None, form: str, workers: int | None, **how: Any) -> None:
    """Rank invented months like this client's, and count what is claimed in them.

    In most of them nothing is true; in the others one effect of a stated size is. Stopped at the
    keyboard, it prints what is finished.
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
