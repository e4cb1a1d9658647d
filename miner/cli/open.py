"""``miner open``: the practitioner's own page, on this machine."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import debug_option
from miner.cli.output import complain, put


@click.command("open")
@click.argument("practice", type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(1024, 65535), help="Where to listen; else any free.")
@click.option("--no-browser", is_flag=True, help="Print the opening address and open nothing.")
@debug_option
def command(practice: Path, port: int | None, no_browser: bool) -> None:
    """Open the page of PRACTICE, from which the whole job is done, until Ctrl+C.

    PRACTICE is a folder of client folders, or an empty one. The page can be reached from this
    machine only, with the address that is printed.
    """
    from miner.page.serving import serve

    def say(address: str) -> None:
        complain("The page is open until you press Ctrl+C here. Its opening address:")
        put(f"{address}\n")

    serve(practice, port or 0, browser=not no_browser, say=say)
