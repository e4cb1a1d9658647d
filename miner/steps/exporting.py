"""Writes a client's records to a folder of their own, to take away."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import chain
from pathlib import Path

from miner.core.files import make_folder, require_no_link, write_whole
from miner.core.messages import Message, MinerError, message
from miner.records.client import STREAMS, Client
from miner.records.findings import Findings
from miner.records.read.discover import practice_of
from miner.records.write.as_text import is_zoned
from miner.records.write.corrections import read_corrections, standing
from miner.records.write.tables import csv_files, observations, settings_of, traces

FORMS = ("csv", "fhir")


def export(client: Client, form: str, out: Path) -> tuple[tuple[str, ...], tuple[Message, ...]]:
    """Write the six streams as files that read back as the same streams.

    Args:
        client: as read.
        form: one of ``FORMS``, as in ``export_files``.
        out: a folder that is new or empty.

    Returns:
        The names of the files written, and notes on what this form cannot hold.

    Raises:
        MinerError: the folder holds something, or the form cannot hold these records.
        OSError: it cannot be written.
    """
    out, files = Path(out), export_files(client, form)
    _claim(out)
    written = []
    for name, content in files:
        write_whole(out / name, content)
        written.append(name)
    return tuple(written), tuple(_notes(client, form))


def export_files(client: Client, form: str) -> Iterator[tuple[str, bytes]]:
    """Give the name and the content of each file of an export.

    Args:
        client: as read.
        form: "csv": one file a stream, and when it was measured; "fhir": one file of FHIR R4
            Observations, one a line.

    Raises:
        MinerError: there is no such form, or it cannot hold these records.
    """
    if form not in FORMS:
        raise MinerError("steps.no_such_form", forms=FORMS)
    if form == "fhir" and not is_zoned(client):
        raise MinerError("steps.no_zone_for_fhir", file=client.folder / "client.toml")
    records = csv_files(client) if form == "csv" else _as_fhir(client)
    return chain(records, settings_of(client).items())


def _claim(out: Path) -> None:
    require_no_link(out)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise MinerError("steps.export_exists", file=out)
    make_folder(out)


def _as_fhir(client: Client) -> Iterator[tuple[str, bytes]]:
    for number, part in enumerate(traces(client), 1):
        name = "records.ndjson" if number == 1 else f"records-{number}.ndjson"
        lines = [
            json.dumps(resource, ensure_ascii=False, separators=(",", ":"))
            for resource in observations(part, STREAMS if number == 1 else ("glucose",))
        ]
        yield name, ("\n".join([*lines, ""])).encode()


def _notes(client: Client, form: str) -> Iterator[Message]:
    sampled = [name for name in client.worn if name != "activity"]
    if sampled and form == "fhir":
        yield message("steps.tracker_not_in_files", streams=sampled)
    if standing(read_corrections(client.folder, Findings())):
        yield message("steps.as_corrected")
    practice = practice_of(client.folder, None)
    if practice is not None and (practice / "rules").is_dir():
        yield message("steps.rules_not_in_files")
