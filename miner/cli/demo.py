"""``miner demo``: the main job, with no input of one's own."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import PATH, debug_option, format_option
from miner.cli.output import say
from miner.cli.places import require_empty
from miner.cli.rank import put_ranking
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.files import make_folder, write_whole
from miner.core.messages import message

MARK = ".written-by-miner-demo"


@click.command("demo")
@click.argument("folder", metavar="[DIR]", type=PATH, default="miner-demo")
@debug_option
@format_option("text", "json")
def command(folder: Path, form: str) -> None:
    """Write a small practice of invented clients into DIR and rank one of them.

    The pages of that one are written too. DIR is 'miner-demo' unless given. A folder with
    anything else in it is left alone.
    """
    from miner import steps
    from miner.render.pages import render

    require_empty(folder, "cli.demo_folder_taken", MARK)
    make_folder(folder)
    write_whole(folder / MARK, f"{message('cli.demo_mark')}\n")
    with progress("cli.demo_ranking") as report:
        client = steps.write_demo(folder)
        read, books = records(client, None)
        ranking = steps.rank(read, books, remember=True, progress=report)
    put_ranking(ranking, books, read.settings.display_unit, form)
    with progress("cli.demo_drawing") as report:
        pages = steps.write_pages(read, ranking, client / "pages", render, books, progress=report)
    say("cli.demo_written", folder=folder, client=client)
    say("cli.demo_pages", paths=[str(page) for page in pages])
