"""``miner export``: the client's records, to take away."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.options import client_argument
from miner.cli.output import complain, put
from miner.cli.reading import records
from miner.cli.waiting import progress


@click.command("export")
@client_argument
@click.option(
    "--as",
    "form",
    type=click.Choice(["csv", "fhir", "everything"]),
    required=True,
    help="The form.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="A new folder; of everything a new file, .zip.",
)
def command(client: Path, rules: Path | None, form: str, out: Path) -> None:
    """Write the client's records into a new folder that can be read again.

    csv: one file a stream. fhir: HL7 FHIR R4 Observations, one a line. everything: one archive
    with the records, the ledger, its history in plain words and the pages that were shared.
    """
    with progress("cli.writing_records") as report:
        read, books = records(client, rules)
        if form == "everything":
            from miner.steps.everything import export_everything

            written, notes = export_everything(read, out, books, progress=report)
        else:
            from miner.steps.exporting import export

            written, notes = export(read, form, out)
    put("".join(f"{out / name}\n" for name in written))
    for note in notes:
        complain(note)
