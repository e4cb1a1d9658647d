"""``miner demo``: the main job, with no input of one's own."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from miner.cli.options import DAY, PATH, debug_option, format_option
from miner.cli.output import put, say, show
from miner.cli.places import require_empty
from miner.cli.rank import put_ranking, remember_numbers
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.files import make_folder, write_whole
from miner.core.messages import message

MARK = ".written-by-miner-demo"


@click.command("demo")
@click.argument("folder", metavar="[DIR]", type=PATH, default="miner-demo")
@click.option(
    "--today",
    type=DAY,
    metavar="DATE",
    help="Let the records end on the day before this date, instead of today.",
)
@debug_option
@format_option("text", "json")
def command(folder: Path, form: str, today: str | None) -> None:
    """Write a practice of invented clients to try things out.

    The practice is written into DIR, which is 'miner-demo' unless you name another folder. Its
    records end yesterday, and each client is at another stage of the work. One client is ranked,
    and the pages of that client are written. A folder with anything else in it is left alone.
    """
    from miner import steps
    from miner.render.pages import render
    from miner.words.practice import states_parts

    require_empty(folder, "cli.demo_folder_taken", MARK)
    make_folder(folder)
    write_whole(folder / MARK, f"{message('cli.demo_mark')}\n")
    on = date.today() if today is None else date.fromisoformat(today)
    with progress("cli.demo_ranking") as report:
        client = steps.write_demo(folder, on)
        read, books = records(client, None)
        ranking = steps.rank(read, books, remember=True, progress=report)
        remember_numbers(read, ranking, books)
        states = steps.practice_states(folder, on)
    unit = read.settings.display_unit
    put_ranking(ranking, books, form, display_unit=unit, folder=str(client))
    if form == "text":
        put("\n")
        show(states_parts(states, on.isoformat()))
    with progress("cli.demo_drawing") as report:
        pages = steps.write_pages(read, ranking, client / "pages", render, books, progress=report)
    say("cli.demo_written", folder=folder, client=client)
    say("cli.demo_pages", paths=[str(page) for page in pages])
