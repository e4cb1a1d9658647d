"""``miner generate``: an invented practice of any size."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import PATH, Whole, debug_option
from miner.cli.output import say
from miner.cli.places import require_empty
from miner.cli.waiting import progress


@click.command("generate")
@click.argument("practice", type=PATH)
@click.option("--clients", type=Whole(1, 1_000_000), required=True, help="Write this many clients.")
@click.option(
    "--days", type=Whole(1, 3_650), required=True, help="Write this many days of records for each."
)
@click.option(
    "--seed", type=Whole(0, 2**32 - 1), default=0, show_default=True, help="Invent other records."
)
@debug_option
def command(practice: Path, clients: int, days: int, seed: int) -> None:
    """Write an invented practice of any size, to try the speed."""
    from miner import steps

    require_empty(practice)
    with progress("cli.generating") as report:
        steps.generate(practice, clients, days, seed, progress=report)
    say("cli.generated", clients=clients, folder=practice)
