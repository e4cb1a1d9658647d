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
@click.option(
    "--port",
    type=Whole(1024, 65535),
    help="Use this port, from 1024 to 65535, instead of any free one.",
)
@click.option("--no-browser", is_flag=True, help="Print how to open the page, and do not open it.")
@debug_option
def command(practice: Path, port: int | None, no_browser: bool) -> None:
    """Open the page on which the whole job can be done.

    PRACTICE is a folder of client folders, or an empty one. The page is open until you press
    Ctrl+C. Only your account on this machine can reach it, with a browser that was let in by the
    file whose address is printed. That file works once and within two minutes. To open the page
    again, give the command again in another window.
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
