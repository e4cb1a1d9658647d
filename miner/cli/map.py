"""``miner map``: how a file of unknown columns could be read."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import debug_option, format_option
from miner.cli.output import put, put_json, show
from miner.cli.waiting import progress


@click.command("map")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--write", is_flag=True, help="Add the entry to the client's sources.toml.")
@click.option("--practice", is_flag=True, help="For every client: the practice's sources.toml.")
@debug_option
@format_option("text", "json")
def command(file: Path, write: bool, practice: bool, form: str) -> None:
    """Propose the sources.toml entry for FILE, with reasons and what cannot be decided.

    FILE lies in a client's folder: CSV, TSV, a spreadsheet, JSON lines, or a zipped table. Only
    what stands in a sources.toml is ever used to read a file.
    """
    from miner.api.mapping import map_file
    from miner.brief.text.map import entry_text, lead_parts, reason_parts

    with progress("Looking at the file"):
        proposal = map_file(file, write=write, practice=practice)
    if form == "json":
        put_json({**proposal.to_dict(), "complete": proposal.complete})
        return
    show(lead_parts(proposal))
    put(entry_text(proposal))
    show(reason_parts(proposal))
