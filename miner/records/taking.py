"""A client's records as files of their own, which read back as the same streams."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import tomlkit

from miner.core.errors import MinerError
from miner.core.files import FORMULA, safe_cell
from miner.records.check.overlaps import CONTRADICTED
from miner.records.client import STREAMS, Client
from miner.records.columns import COLUMNS
from miner.records.discover import practice_of
from miner.records.fold import fold
from miner.records.settings import PracticeFile
from miner.records.text_file import as_utf8
from miner.records.toml_file import read_toml
from miner.records.writing import as_named, cells_of, worn_cells

if TYPE_CHECKING:
    import pandas as pd

WRITTEN = {name for spec in COLUMNS.values() for name in spec.texts}


def traces(client: Client) -> list[Client]:
    """Return the client once for each unit of glucose, and each file where files contradict."""
    glucose = client.streams["glucose"]
    apart = ["unit", "file"] if (glucose["left_out"] == CONTRADICTED).any() else ["unit"]
    named = as_named(glucose, client.settings)
    parts = [part.reset_index(drop=True) for _, part in named.groupby(apart, sort=True)]
    if len(parts) < 2:
        return [client]
    return [replace(client, streams={**client.streams, "glucose": part}) for part in parts]


def csv_files(client: Client) -> Iterator[tuple[str, bytes]]:
    """Give the streams by the name of their file, and when those that were sampled were worn."""
    for number, part in enumerate(traces(client), 1):
        for stream in STREAMS if number == 1 else ("glucose",):
            cells = cells_of(part, stream)
            if not cells.empty:
                yield f"{stream}.csv" if number == 1 else f"{stream}-{number}.csv", _bytes(cells)
    for stream in client.worn:
        yield f"worn-{stream}.csv", _bytes(worn_cells(client, stream))
    if client.worn:
        yield "sources.toml", "\n".join(map(_worn_entry, client.worn)).encode()


def _worn_entry(stream: str) -> str:
    """Return the mapping of the file that says when a stream was measured."""
    head = ("[[source]]", f'file = "worn-{stream}.csv"', f'stream = "{stream}"', "worn = true")
    return "\n".join([*head, "[source.columns]", 'start = "start"', 'end = "end"', ""])


def _bytes(cells: pd.DataFrame) -> bytes:
    written = [name for name in cells if name in WRITTEN]
    cells = cells.assign(**{name: cells[name].map(safe_cell) for name in written})
    return cells.to_csv(index=False, lineterminator="\n").encode()


def inert(name: str, raw: bytes) -> bytes:
    """Return a comma-separated file that somebody typed with no cell that a spreadsheet runs.

    A file without such a cell stays as it is, to the byte; so does one that is no text.
    """
    try:
        text = as_utf8(name, raw, None).decode("utf-8")
        rows = list(csv.reader(io.StringIO(text, newline="")))
    except (MinerError, csv.Error):
        return raw
    quiet = [[_inert(cell) for cell in row] for row in rows]
    if quiet == rows:
        return raw
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(quiet)
    return out.getvalue().encode()


def _inert(cell: str) -> str:
    """Return a cell as typed, unless it begins like a formula, blanks or not: they are no part."""
    bare = cell.lstrip()
    if bare.startswith(FORMULA):
        return safe_cell(bare)
    return bare if cell.startswith(FORMULA) else cell


def settings_of(client: Client) -> dict[str, bytes]:
    """Return ``client.toml`` with what the practice says where the client's own says nothing."""
    path, practice = client.folder / "client.toml", practice_of(client.folder, None)
    held = path.read_bytes() if path.is_file() else None
    shared = read_toml(practice / "practice.toml", PracticeFile) if practice else PracticeFile()
    said = shared.model_dump(exclude_unset=True)
    if not said:
        return {} if held is None else {path.name: held}
    document = tomlkit.parse((held or b"").decode("utf-8-sig"))
    for key, value in said.items():
        own = document.setdefault(key, tomlkit.table() if isinstance(value, Mapping) else value)
        if isinstance(value, Mapping):
            known = {fold(word) for word in own}
            for word, meant in value.items():
                if fold(word) not in known:
                    own[word] = meant
    return {path.name: tomlkit.dumps(document).encode("utf-8")}
