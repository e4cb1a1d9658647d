"""Rows that are not laid out like the others: too short, cut off, or swallowed by a quote."""

from __future__ import annotations

import csv
import io
import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.results import Severity
from miner.records.findings import Findings
from miner.records.text_file import TextFile

Mask = NDArray[np.bool_]
_LOOKED_AT = 200
_LONGEST_CELL = 20
_MANY_CELLS = 4
_DIGITS = re.compile(r"\d+")
_WORDS = re.compile(r"[^\W\d_]+")


def odd_rows(text: TextFile, delimiter: str, rows: NDArray[np.int64], findings: Findings) -> Mask:
    """Say which rows are not to be used, and tell of them and of those that lack cells.

    Left out are the last row of a file that ends in the middle of it, and rows in which a quote
    took the next ones as one text. What a short row lacks counts as not recorded.

    Args:
        text: the file; its header says how many cells a row has.
        delimiter: the mark between two cells.
        rows: the line number of each row that was read.
        findings: gets what is told.
    """
    lines = text.lines
    marks = text.body.count(delimiter.encode(), text.body_at)
    whole = marks == lines * (len(text.header) - 1)
    ends = text.body.endswith(b"\n") or not lines
    odd = np.zeros(len(rows), dtype=bool)
    if whole and len(rows) == lines and ends:
        return odd
    records = _records(text, text.body[text.body_at :], delimiter)
    if not (whole and len(rows) == lines):
        odd |= np.isin(rows, _swallowed(text, records, delimiter, findings))
        _tell_short(text, records, rows[~odd], ends, findings)
    if not ends:
        odd |= np.isin(rows, _cut(text, records, findings))
    return odd


def _records(text: TextFile, body: bytes, delimiter: str) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(body.decode("utf-8"), newline=""), delimiter=delimiter)
    found, last = [], 0
    try:
        for record in reader:
            found.append((text.first_row + last, record))
            last = reader.line_num
    except csv.Error:
        return []
    return found


def _tell_short(
    text: TextFile,
    records: list[tuple[int, list[str]]],
    rows: NDArray[np.int64],
    ends: bool,
    findings: Findings,
) -> None:
    width, used = len(text.header), set(rows.tolist())
    short = [
        (row, record)
        for row, record in (records if ends else records[:-1])
        if row in used and len(record) < width and any(record)
    ]
    if short:
        fewest = min(len(record) for _, record in short)
        lacking = ", ".join(f"'{name}'" for name in text.header[fewest:][:6])
        findings.rows(
            Severity.QUESTION,
            "short_row",
            at=pd.DataFrame({"file": text.name, "row": [row for row, _ in short]}),
            column=lacking,
            values={"width": width, "lacking": lacking},
        )


def _cut(text: TextFile, records: list[tuple[int, list[str]]], findings: Findings) -> list[int]:
    """Return the last row where the file ends in the middle of it."""
    if not records:
        return []
    row, last = records[-1]
    before = [record for _, record in records[-_LOOKED_AT:-1]]
    sizes = [len(record[len(last) - 1]) for record in before if len(record) >= len(last) > 0]
    cut_cell = len(sizes) > 1 and last and 0 < len(last[-1]) < min(sizes)
    if not any(last) or (len(last) >= len(text.header) and not cut_cell):
        return []
    findings.add(
        Severity.LEFT_OUT,
        "file_cut_off",
        file=text.name,
        row=row,
        values={"last": ",".join(last)[-40:]},
    )
    return [row]


def _swallowed(
    text: TextFile, records: list[tuple[int, list[str]]], delimiter: str, findings: Findings
) -> list[int]:
    """Return the rows in one of whose cells other rows stand."""
    rows = [row for row, record in records if _holds_rows(record, delimiter, len(text.header))]
    long = [
        row
        for row, record in records
        if row not in rows and any(cell.count("\n") >= _LONGEST_CELL for cell in record)
    ]
    findings.rows(
        Severity.QUESTION, "rows_swallowed", at=pd.DataFrame({"file": text.name, "row": rows})
    )
    findings.rows(
        Severity.QUESTION,
        "long_cell",
        at=pd.DataFrame({"file": text.name, "row": long}),
        values={"most": _LONGEST_CELL},
    )
    return rows


def _holds_rows(record: list[str], delimiter: str, width: int) -> bool:
    """Say whether a line inside a cell begins as the row does, or has as many cells."""
    begins = _shape(record[0]) if record else ""
    lines = [line.split(delimiter) for cell in record for line in cell.split("\n")[1:]]
    if any(mark.isdigit() for mark in begins):
        return any(len(parts) > 1 and _shape(parts[0]) == begins for parts in lines)
    return any(len(parts) >= max(width, _MANY_CELLS) for parts in lines)


def _shape(cell: str) -> str:
    """Return digits and words as one mark each: AM and PM, or two months, are of one shape."""
    return _WORDS.sub("a", _DIGITS.sub("0", cell.strip()))
