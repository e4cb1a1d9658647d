"""Reads one file of open-standard records into the streams it feeds."""

from __future__ import annotations

from typing import Any

from miner.core.errors import MinerError
from miner.core.results import Severity
from miner.records.fhir import read_observation
from miner.records.findings import Findings
from miner.records.gathered import NOT_KNOWN, Gathered, Told, inside, words
from miner.records.json_documents import BROKEN, LARGEST_JSON_BYTES, documents
from miner.records.mhealth import is_data_point, read_data_point
from miner.records.stream_file import Part
from miner.records.text_file import as_utf8, map_it, too_large

_BROKEN_LINES: Told = (Severity.LEFT_OUT, "lines_not_json")


def read_standard(name: str, raw: bytes, zone: str | None, findings: Findings) -> list[Part]:
    """Read a file of FHIR Observations, or of IEEE 1752.1 or Open mHealth data points.

    Args:
        name: the file's name inside the client folder.
        raw: its bytes.
        zone: the client's zone, or None.
        findings: gets what was not used.

    Raises:
        MinerError: it is too large, not text, or not JSON.
    """
    if len(raw) > LARGEST_JSON_BYTES:
        raise too_large(name, len(raw), LARGEST_JSON_BYTES)
    text = as_utf8(name, raw, None).decode("utf-8")
    out = Gathered(name, zone)
    if not text.strip():
        return out.parts(findings)
    seen = 0
    for row, value in documents(name, text):
        if value is BROKEN:
            out.leave(row, _BROKEN_LINES)
        else:
            seen += _read(value, row, out)
    if not seen:
        raise MinerError("records.nothing_of_a_standard", file=name, map_it=map_it(name))
    return out.parts(findings)


def _read(value: Any, row: int, out: Gathered) -> bool:
    kind = words(value.get("resourceType")) if isinstance(value, dict) else ""
    if kind == "Observation":
        subject = value.get("subject")
        person = words(inside(subject, "reference")) or words(
            inside(subject, "identifier", "value")
        )
        out.about(row, person)
        read_observation(value, row, out)
    elif is_data_point(value):
        out.about(row, words(inside(value, "header", "user_id")))
        read_data_point(value, row, out)
    else:
        out.leave(row, NOT_KNOWN, kind or "no kind")
        return bool(kind)
    return True
