"""``miner result``: read an alternating test."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import put_as
from miner.cli.reading import cautioned, records
from miner.cli.waiting import progress


@click.command("result")
@client_argument
@click.argument("plan")
@format_option("text", "json")
@click.option(
    "--stopped",
    is_flag=True,
    help="Read the pairs that are complete, where the client has stopped early.",
)
def command(client: Path, rules: Path | None, form: str, plan: str, stopped: bool) -> None:
    """Show what a finished test found.

    PLAN is the name of the plan. A test is read once, when it is over.
    """
    from miner import steps
    from miner.words.plan import result_parts, result_title
    from miner.words.said import rules_at_door

    with progress("cli.reading_pairs"):
        read, books = records(client, rules)
        found = steps.result(read, plan, books, stopped=stopped)
    own = steps.written_plan(read, found.plan)
    title = result_title(own, read.settings.code) if own else []
    unit, said = read.settings.display_unit, rules_at_door(books)
    put_as(
        form,
        text=lambda: cautioned(
            read,
            books,
            [*title, *result_parts(found, said, display_unit=unit)],
            beside=False,
        ),
        json=found.to_dict,
    )
