"""``miner merge``: tags or foods that mean the same, under one word."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from miner.cli.options import PATH, OneOf, debug_option, format_option
from miner.cli.output import put_as
from miner.cli.waiting import progress
from miner.core.messages import MinerError


@click.command("merge")
@click.argument("practice", type=PATH)
@click.argument("words", nargs=-1, metavar="[WORD]...")
@click.option("--into", metavar="WORD", help="Replace the words by this one.")
@click.option("--part", "apart", is_flag=True, help="Separate these words again.")
@click.option("--preview", is_flag=True, help="Show what would change, and write nothing.")
@click.option(
    "--kind",
    type=OneOf("tag", "food"),
    help="Say which is meant, where a word is both a tag and a food.",
)
@click.option("--rules", type=PATH, help="Use the rule books in this folder.")
@format_option("text", "json")
@debug_option
def command(
    practice: Path, words: tuple[str, ...], rules: Path | None, form: str, **said: Any
) -> None:
    """Join tags or foods that mean the same.

    It holds for every client of PRACTICE and is written to practice.toml. No record is changed.
    Without words, the command lists what is joined and which words look alike.
    """
    from miner import steps
    from miner.words.noting import merge_parts, merges_parts

    _require_sense(words, said)
    into, kind = said["into"], said["kind"]
    with progress("cli.reading_clients") as report:
        if not words:
            listed = steps.merges(practice, rules=rules, progress=report)
        elif into is None:
            made = steps.part(practice, words, kind, progress=report)
        else:
            preview = said["preview"]
            made = steps.merge(
                practice, words, into, kind, preview=preview, rules=rules, progress=report
            )
    if words:
        put_as(form, text=lambda: merge_parts(made, practice), json=made.to_dict)
    else:
        put_as(form, text=lambda: merges_parts(listed, practice), json=listed.to_dict)


def _require_sense(words: tuple[str, ...], said: dict[str, Any]) -> None:
    """Refuse options that do not go together.

    Raises:
        MinerError: with what does.
    """
    into, apart, preview = said["into"], said["apart"], said["preview"]
    if bool(words) != (bool(apart) != (into is not None)) or (preview and into is None):
        raise MinerError("cli.merge_at_odds")
