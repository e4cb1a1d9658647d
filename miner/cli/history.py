"""``miner history``: the story of a client's questions."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import put_as
from miner.cli.reading import client_folder


@click.command("history")
@client_argument
@format_option("text", "json")
def command(client: Path, rules: Path | None, form: str) -> None:
    """Show what was asked, kept and tested, in order."""
    from miner import steps
    from miner.words.history import history_parts
    from miner.words.said import rules_at_door

    books = steps.load_rules(rules, client)
    found = steps.history(client_folder(client), books)
    put_as(form, text=lambda: history_parts(found, rules_at_door(books)), json=found.to_dict)
