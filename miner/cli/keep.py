"""``miner keep``: keep a pattern, to be read on days that did not suggest it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from miner.cli.options import DAY, OneOf, client_argument, format_option, pattern_argument
from miner.cli.output import put, put_as
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.messages import MinerError


@click.command("keep")
@client_argument
@pattern_argument
@format_option("text", "json")
@click.option(
    "--as",
    "as_",
    type=OneOf("watch", "alternate", "adopt"),
    help="""
    Say how: watch new days and live as usual, alternate in a test, or adopt the change
    without an answer.""",
)
@click.option(
    "--read-on",
    type=DAY,
    metavar="DATE",
    help="Read the new days on this date, instead of the suggested one.",
)
@click.option("--note", default="", metavar="TEXT", help="Add a note in your own words.")
@click.option("--drop", is_flag=True, help="Give the pattern up, without an answer.")
def command(
    client: Path,
    rules: Path | None,
    form: str,
    pattern: str,
    as_: str | None,
    read_on: str | None,
    note: str,
    drop: bool,
) -> None:
    """Keep a pattern, to see whether it holds on new days.

    PATTERN is its number in the last ranking, or its ID. At most three are open at once.
    """
    from miner import steps
    from miner.words.amounts import Amounts
    from miner.words.follow import kept_parts
    from miner.words.said import rules_at_door

    read, books = records(client, rules)
    id_ = steps.id_of_number(read, pattern)
    if drop:
        if as_ or read_on or note:
            raise MinerError("cli.drop_with_another")
        put(f"{steps.drop(read, id_)}\n")
        return
    if as_ is None:
        raise MinerError("cli.way_of_keeping_missing")
    with progress("cli.ranking") as report:
        chosen = date.fromisoformat(read_on) if read_on else None
        kept = steps.keep(read, id_, as_, books, read_on=chosen, note=note, progress=report)
    amounts, said = Amounts(read.settings.display_unit), rules_at_door(books)
    put_as(form, text=lambda: kept_parts(kept, said, amounts), json=kept.to_dict)
