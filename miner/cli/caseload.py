"""``miner caseload``: every client folder of a practice, and what the clients share."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from miner.cli.options import PATH, OneOf, Whole, debug_option, format_option
from miner.cli.output import put_as, say
from miner.cli.places import may_be_written
from miner.cli.waiting import progress
from miner.core.files import write_whole


@click.command("caseload")
@click.argument("practice")
@click.option(
    "--unit",
    type=OneOf("day", "meal"),
    help="Compare days or meals, instead of what the practice ranks by.",
)
@click.option(
    "--workers",
    type=Whole(1, 512),
    default=1,
    show_default=True,
    help="Use this many processes on this machine, at most one for each core.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Use the Dask scheduler at this address instead.",
)
@click.option(
    "--work",
    type=PATH,
    metavar="FOLDER",
    help="Save results in this folder, instead of .miner-caseload in the practice.",
)
@click.option("--out", type=PATH, metavar="FILE.html", help="Write the overview as a page as well.")
@click.option("--detail", is_flag=True, help="Show every client and every pattern that was pooled.")
@debug_option
@format_option("text", "json", "csv")
def command(practice: str, form: str, detail: bool, out: Path | None, **choices: Any) -> None:
    """List all clients of a practice, and what they share.

    PRACTICE is a folder of client folders, or an address such as s3://bucket/practice. Only clients
    who agreed are pooled.
    """
    from miner import steps
    from miner.render.pages import caseload_page
    from miner.render.values import caseload_csv
    from miner.words.practice import MOST_ROWS, caseload_parts, states_parts

    if out is not None:
        may_be_written(out)
    with progress("cli.looking_at_clients") as report:
        found = steps.pool(practice, progress=report, **choices)
    rules = steps.rules_of_practice(practice)
    put_as(
        form,
        text=lambda: [
            *caseload_parts(found, rules, detail=detail),
            *states_parts(
                steps.states_of_caseload(found, practice),
                date.today().isoformat(),
                None if detail else MOST_ROWS,
            ),
        ],
        json=found.to_dict,
        csv=lambda: caseload_csv(found),
    )
    if out is not None:
        write_whole(out, caseload_page(found, rules))
        steps.remember_page(practice, choices["work"], out, found)
        say("cli.written", path=out)
