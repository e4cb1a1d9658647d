"""``miner demo``: the main job, with no input of one's own."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import debug_option, format_option
from miner.cli.output import complain
from miner.cli.rank import put_ranking
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.errors import MinerError
from miner.core.files import make_folder, write_whole

MARK = ".written-by-miner-demo"
MARK_TEXT = "Every person and every number here is invented. 'miner demo' may write it again.\n"


@click.command("demo")
@click.argument("folder", metavar="[DIR]", type=click.Path(path_type=Path), default="miner-demo")
@debug_option
@format_option("text", "json")
def command(folder: Path, form: str) -> None:
    """Write a small practice of invented clients into DIR and rank one of them.

    The pages of that one are written too. DIR is 'miner-demo' unless given. A folder with
    anything else in it is left alone.
    """
    from miner import steps

    claim(folder)
    with progress("Writing and ranking invented clients") as report:
        client = steps.write_demo(folder)
        read, books = records(client, None)
        ranking = steps.rank(read, books, remember=True, progress=report)
    put_ranking(ranking, books, read.settings.display_unit, form)
    with progress("Drawing its pages") as report:
        pages = steps.write_pages(read, ranking, client / "pages", books, progress=report)
    complain(f"Written to {folder}. Try: miner rank {client} --detail")
    complain(f"Pages to open in a browser: {', '.join(str(path) for path in pages)}")


def claim(folder: Path) -> None:
    """Mark a new or empty folder as written by the demo.

    Raises:
        MinerError: there is something in it that the demo did not write.
    """
    if folder.exists() and not folder.is_dir():
        found, do = "a file has this name", "Name another folder: miner demo DIR."
        raise MinerError(found, "a new or an empty folder", do, file=folder)
    if folder.is_dir() and any(folder.iterdir()) and not (folder / MARK).is_file():
        found, do = "the folder is not empty", "Name another folder: miner demo DIR."
        raise MinerError(found, "a new or an empty folder", do, file=folder)
    make_folder(folder)
    write_whole(folder / MARK, MARK_TEXT)
