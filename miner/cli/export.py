"""``miner export``: the client's records, to take away."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from miner.cli.options import PATH, OneOf, client_argument
from miner.cli.output import complain, put
from miner.cli.reading import records
from miner.cli.waiting import progress

if TYPE_CHECKING:
    from miner.steps.pages import ArchiveTexts


@click.command("export")
@client_argument
@click.option(
    "--as",
    "form",
    type=OneOf("csv", "fhir", "everything"),
    required=True,
    help="Choose the form.",
)
@click.option(
    "--out",
    type=PATH,
    required=True,
    help="Write into this new folder, or for everything into this new .zip file.",
)
def command(client: Path, rules: Path | None, form: str, out: Path) -> None:
    """Write the client's records to files to take away.

    As csv, there is one file for each kind of record. As fhir, there are HL7 FHIR R4 Observations,
    one on each line. As everything, there is one archive with the records, the ledger, its history
    in plain words and the pages that were shared.
    """
    with progress("cli.writing_records") as report:
        read, books = records(client, rules)
        if form == "everything":
            from miner.steps.pages import export_everything

            texts = archive_texts()
            written, notes = export_everything(read, out, texts, books, progress=report)
        else:
            from miner.steps.exporting import export

            written, notes = export(read, form, out)
    put("".join(f"{out / name}\n" for name in written))
    for note in notes:
        complain(str(note))


def archive_texts() -> ArchiveTexts:
    """Return how the texts of an archive of everything are written."""
    from miner.render.pages import render
    from miner.render.terminal import render as lines_of
    from miner.steps.pages import ArchiveTexts
    from miner.words.history import contents_parts, history_parts

    return ArchiveTexts(
        page=render,
        contents=lambda *facts: lines_of(contents_parts(*facts)),
        history=lambda found, rules: lines_of(history_parts(found, rules)),
    )
