"""Reads a file row by row, where rows have too many cells or cells run over several lines."""

from __future__ import annotations

import csv
import io

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.errors import MinerError
from miner.core.results import Severity
from miner.records.findings import Findings
from miner.records.sources import Source
from miner.records.text_file import SEPARATORS, TextFile


def line_numbers(file: str, body: bytes, delimiter: str, first: int) -> NDArray[np.int64]:
    """Return the line in which each row begins; the first row begins in ``first``.

    Raises:
        MinerError: a cell is too long.
    """
    reader = csv.reader(io.StringIO(body.decode("utf-8"), newline=""), delimiter=delimiter)
    begins, last = [], 0
    try:
        for _ in reader:
            begins.append(first + last)
            last = reader.line_num
    except csv.Error as error:
        raise _too_long(file, first + last) from error
    return np.array(begins, dtype=np.int64)


def read_row_by_row(
    text: TextFile, body: bytes, source: Source, findings: Findings
) -> tuple[pd.DataFrame, NDArray[np.int64]]:
    """Return the cells and the line of each row; rows with too many cells are left out and told.

    Raises:
        MinerError: a quote is never closed, or a cell is too long.
    """
    width, kept, rows, ragged = len(text.header), [], [], []
    for row, record in _records(text, body, source.delimiter):
        if any(cell.strip() for cell in record[width:]):
            ragged.append((row, source.delimiter.join(record)))
        else:
            kept.append((record + [""] * width)[:width])
            rows.append(row)
    findings.rows(
        Severity.LEFT_OUT,
        "cells_beyond_header",
        at=pd.DataFrame({"file": text.name, "row": [row for row, _ in ragged]}),
        shown=[shown for _, shown in ragged],
        values={"width": width, "separator": SEPARATORS.get(source.delimiter, source.delimiter)},
    )
    cells = pd.DataFrame(kept, columns=list(text.header), dtype="str")
    cells = cells.mask(cells.isin(["", *source.not_measured]))
    return cells, np.array(rows, dtype=np.int64)


def _records(text: TextFile, body: bytes, delimiter: str) -> list[tuple[int, list[str]]]:
    decoded = body.decode("utf-8")
    last, found = 0, []
    try:
        reader = csv.reader(io.StringIO(decoded, newline=""), delimiter=delimiter, strict=True)
        for record in reader:
            found.append((text.first_row + last, record))
            last = reader.line_num
    except csv.Error as error:
        if "field larger" in str(error):
            raise _too_long(text.name, text.first_row + last) from error
        if "unexpected end" not in str(error):
            lines = line_numbers(text.name, body, delimiter, text.first_row)
            reader = csv.reader(io.StringIO(decoded, newline=""), delimiter=delimiter)
            return list(zip(lines, reader, strict=True))
        raise MinerError(
            "records.quote_never_closed", file=text.name, row=text.first_row + last
        ) from error
    return found


def _too_long(file: str, row: int) -> MinerError:
    return MinerError("records.cell_too_long", file=file, row=row, most=csv.field_size_limit())
