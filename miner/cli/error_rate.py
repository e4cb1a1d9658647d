"""``miner error-rate``: how often this analysis would claim something where nothing is true."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from miner.cli.faults import INTERRUPTED, TOO_FEW, interrupted
from miner.cli.options import client_argument, format_option
from miner.cli.output import put_json, show
from miner.cli.reading import records
from miner.cli.waiting import progress


@click.command("error-rate")
@client_argument
@format_option("text", "json")
@click.option("--worlds", type=click.IntRange(1, 100_000), default=200, show_default=True,
              help="Months in which nothing is true.")  # fmt: skip
@click.option("--draws", type=click.IntRange(100, 100_000), default=1000, show_default=True,
              help="Shuffles a month.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=0, show_default=True)
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; all cores by default.")
def command(client: Path, rules: Path | None, form: str, workers: int | None, **how: Any) -> None:
    """Rank invented months like this client's, and count what is claimed in them.

    In most of them nothing is true; in the others one effect of a stated size is. Stopped at the
    keyboard, it prints what is finished.
    """
    from miner import steps
    from miner.words.error_rate import error_rate_parts

    with progress("Imitating months") as report:
        read, books = records(client, rules)
        found = steps.error_rate(
            read, books, workers=workers or os.cpu_count() or 1, progress=report, **how
        )
    if not found.finished and not found.worlds:
        raise click.Abort
    if form == "json":
        put_json(found.to_dict())
    else:
        show(error_rate_parts(found, books, read.settings.rank_unit, read.settings.display_unit))
    if not found.finished:
        interrupted()
    code = 0 if found.worlds else TOO_FEW
    click.get_current_context().exit(code if found.finished else INTERRUPTED)
