"""``miner generate``: an invented practice of any size."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import debug_option
from miner.cli.output import complain
from miner.cli.waiting import progress
from miner.core.errors import MinerError, several


@click.command("generate")
@click.argument("practice", type=click.Path(path_type=Path))
@click.option("--clients", type=click.IntRange(1, 1_000_000), required=True, help="How many.")
@click.option("--days", type=click.IntRange(1, 3_650), required=True, help="Days of records each.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=0, show_default=True)
@debug_option
def command(practice: Path, clients: int, days: int, seed: int) -> None:
    """Write an invented practice of any size into PRACTICE, for trying scale."""
    from miner import steps

    require_empty(practice)
    with progress("Writing invented clients") as report:
        steps.generate(practice, clients, days, seed, progress=report)
    written = several(clients, "invented client")
    complain(f"{written} written to {practice}. Try: miner caseload {practice}")


def require_empty(folder: Path) -> None:
    """Refuse a folder with anything in it.

    Raises:
        MinerError: it is a file, or not empty.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        found = "the folder is not empty" if folder.is_dir() else "a file has this name"
        raise MinerError(found, "a new or an empty folder", "Name another one.", file=folder)
