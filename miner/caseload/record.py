"""One client's part of a caseload as a Parquet file: its row, what it was told, its units."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, BinaryIO

from miner.core.results import Evidence
from miner.core.results.caseload import ClientRow

if TYPE_CHECKING:
    import pandas as pd

KEY = b"miner"
Told = Mapping[tuple[str, str], Evidence]


@dataclass(frozen=True, slots=True)
class Head:
    """What stands in a record beside its units.

    Attributes:
        fingerprint: of everything the record was made from.
        told: (factor, outcome) -> what the client's own ranking called it, "cannot tell" left out.
        code: the client's own, where the records were read.
        prints: a hash of the readings of each day, by day since 1970-01-01.
    """

    row: ClientRow
    fingerprint: str
    told: Told
    code: str = ""
    prints: Mapping[int, str] = field(default_factory=dict)


def to_parquet(head: Head, units: pd.DataFrame) -> bytes:
    """Return a record as the bytes of a Parquet file; the same record gives the same bytes."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns = {name: units[name].to_numpy(dtype=float) for name in units.columns}
    table = pa.table(columns).replace_schema_metadata({KEY: _head_text(head)})
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd")
    return bytes(sink.getvalue())


def read_head(source: str | BinaryIO) -> Head:
    """Read what stands beside the units.

    Raises:
        ValueError: it is no record of this program, or a damaged one.
    """
    import pyarrow.parquet as pq

    found = pq.read_schema(source).metadata or {}
    if KEY not in found:
        raise ValueError("no record")
    raw = json.loads(found[KEY])
    told = {(factor, outcome): Evidence(level) for factor, outcome, level in raw["told"]}
    row = raw["row"]
    known = {item.name: row[item.name] for item in fields(ClientRow)}
    for name in ("cautions", "attention", "not_asked"):
        known[name] = tuple(known[name])
    prints = {int(day): mark for day, mark in raw["prints"].items()}
    return Head(ClientRow(**known), raw["fingerprint"], told, raw["code"], prints)


def _head_text(head: Head) -> bytes:
    told = sorted([factor, outcome, str(level)] for (factor, outcome), level in head.told.items())
    found: dict[str, Any] = {
        "row": head.row.to_dict(),
        "fingerprint": head.fingerprint,
        "told": told,
        "code": head.code,
        "prints": dict(head.prints),
    }
    return json.dumps(found, sort_keys=True).encode()
