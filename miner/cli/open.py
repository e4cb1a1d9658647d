"""``miner open``: the practitioner's own page, on this machine."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import click

from miner.cli.options import PATH, Whole, debug_option
from miner.cli.output import complain, put, say
from miner.core.messages import MinerError

if TYPE_CHECKING:
    from miner.page.serving import Opening


@click.command("open")
@click.argument("practice", type=PATH)
@click.option("--port", type=Whole(1024, 65535), help="Where to listen; else any free.")
@click.option("--no-browser", is_flag=True, help="Print how to open the page, and open nothing.")
@debug_option
def command(practice: Path, port: int | None, no_browser: bool) -> None:
    """Open the page of PRACTICE, from which the whole job is done, until Ctrl+C.

    PRACTICE is a folder of client folders, or an empty one. The page can be reached by this
    account of this machine only, and by a browser that was let in: with the file whose address is
    printed, once and within two minutes. Start it again in another window to open it again.
    """
    try:
        import_module("multipart")  # what reads dropped files loads it too late to tell
        from miner.page.app import application
        from miner.page.serving import serve
    except ModuleNotFoundError as error:
        raise MinerError("page.library_missing", name=error.name) from error
    serve(application, practice, port or 0, browser=not no_browser, say=say_how, warn=complain)


def say_how(opening: Opening) -> None:
    """Print a way in: the address of a file, and what to do where that cannot be read."""
    if opening.token:
        say("cli.page_is_open")
    say("cli.page_opens_with")
    put(f"{opening.file}\n")
    if opening.token:
        say("cli.page_by_code", page=opening.page, token=opening.token)
