"""Writes a client's records to a folder of their own, to take away."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

from miner.errors import MinerError
from miner.records.client import STREAMS, Client
from miner.records.fhir_writing import observations
from miner.records.two_at_once import CONTRADICTED
from miner.records.writing import cells_of, is_zoned


def export(client: Client, form: str, out: Path) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Write the six streams as files that read back as the same streams.

    Args:
        client: as read.
        form: "csv": one file a stream; "fhir": one file of FHIR R4 Observations, one a line.
        out: a folder that is new or empty.

    Returns:
        The names of the files written, and notes on what this form cannot hold.

    Raises:
        MinerError: the folder holds something, or the form cannot hold these records.
    """
    out = Path(out)
    if form == "fhir" and not is_zoned(client):
        raise MinerError(
            "these records have no time zone, and FHIR wants times with an offset",
            "time_zone in client.toml, or times with an offset",
            "Give the client's time_zone, or export as csv.",
            file=client.folder / "client.toml",
        )
    _claim(out)
    written = _as_csv(client, out) if form == "csv" else _as_fhir(client, out)
    settings = client.folder / "client.toml"
    if settings.is_file():
        shutil.copyfile(settings, out / "client.toml")
        written.append("client.toml")
    return tuple(written), _notes(client)


def _claim(out: Path) -> None:
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise MinerError(
            "there is something of that name already",
            "a new or an empty folder",
            "Name another with --out.",
            file=out,
        )
    out.mkdir(parents=True, exist_ok=True)


def _traces(client: Client) -> list[Client]:
    """Return the client once for each file of glucose, where such files contradict each other."""
    glucose = client.streams["glucose"]
    if not (glucose["left_out"] == CONTRADICTED).any():
        return [client]
    parts = [part.reset_index(drop=True) for _, part in glucose.groupby("file", sort=True)]
    return [replace(client, streams={**client.streams, "glucose": part}) for part in parts]


def _as_csv(client: Client, out: Path) -> list[str]:
    written = []
    for number, part in enumerate(_traces(client), 1):
        for stream in STREAMS if number == 1 else ("glucose",):
            cells = cells_of(part, stream)
            if not cells.empty:
                name = f"{stream}.csv" if number == 1 else f"{stream}-{number}.csv"
                cells.to_csv(out / name, index=False, lineterminator="\n", encoding="utf-8")
                written.append(name)
    return written


def _as_fhir(client: Client, out: Path) -> list[str]:
    written = []
    for number, part in enumerate(_traces(client), 1):
        name = "records.ndjson" if number == 1 else f"records-{number}.ndjson"
        with (out / name).open("w", encoding="utf-8", newline="\n") as file:
            for resource in observations(part, STREAMS if number == 1 else ("glucose",)):
                file.write(json.dumps(resource, ensure_ascii=False, separators=(",", ":")) + "\n")
        written.append(name)
    return written


def _notes(client: Client) -> tuple[str, ...]:
    sampled = [name for name in client.worn if name != "activity"]
    if not sampled:
        return ()
    return (
        f"When the tracker measured {' and '.join(sampled)} is not in these files. A day without "
        "the tracker will look like a day without an episode.",
    )
