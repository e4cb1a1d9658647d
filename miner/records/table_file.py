"""Reads the rows of one delimited file, each with its line number."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.errors import MinerError, closest
from miner.core.files import plain_cell
from miner.records.findings import Findings
from miner.records.row_by_row import line_numbers, read_row_by_row
from miner.records.row_shapes import odd_rows
from miner.records.sources import Source
from miner.records.text_columns import Text, bare
from miner.records.text_file import SEPARATORS, TextFile, map_it

Mask: TypeAlias = NDArray[np.bool_]
_LONGEST_NAME = 60
_THOUSANDS = re.compile(rb"(?<![\d.])[1-9]\d{0,2}\.\d{3}(?!\d)")


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of one file as they stand there.

    Attributes:
        file: its name inside the client folder.
        cells: one column for each of the file's own; text, or numbers where all of a column are.
        rows: the line number of each row, from 1 as an editor shows it.
    """

    file: str
    cells: pd.DataFrame
    rows: NDArray[np.int64]

    def text(self, column: str) -> Text:
        """Return a column as text without blanks around it; a blank cell is an empty text.

        The apostrophe that keeps a spreadsheet from running a cell is no part of it.
        """
        cells = self.cells[column]
        if not pd.api.types.is_string_dtype(cells):
            cells = cells.astype("str")
        if bare(cells):
            return cells
        told = cells.fillna("").str.strip()
        quoted = told.str.startswith("'")
        return told.where(~quoted, told.map(plain_cell)) if quoted.any() else told

    def keep(self, mask: NDArray[np.bool_]) -> Table:
        """Return the rows for which the mask is true."""
        if mask.all():
            return self
        return Table(self.file, self.cells[mask].reset_index(drop=True), self.rows[mask])


def check_header(text: TextFile, source: Source, needed: tuple[str, ...]) -> None:
    """See that a file's header can be used.

    Raises:
        MinerError: it is not split by this delimiter, repeats a name, or lacks a needed column.
    """
    header = text.header
    row = text.first_row - 1
    if len(header) == 1 and len(needed) > 1:
        other = [mark for mark in SEPARATORS if mark != source.delimiter and mark in header[0]]
        if other:
            spoken = SEPARATORS.get(source.delimiter, source.delimiter)
            shown = other[0].replace("\t", "\\t")
            raise MinerError(
                "records.one_column",
                file=text.name,
                row=row,
                header=header[0][:60],
                seems=SEPARATORS[other[0]],
                separator=spoken,
                map_it=map_it(text.name),
                shown=shown,
            )
    twice = [name for name in dict.fromkeys(header) if name and header.count(name) > 1]
    if twice:
        raise MinerError("records.column_twice", file=text.name, row=row, column=_cut(twice[0]))
    for name in needed:
        if name not in header:
            raise _missing(text, name, row)


def _missing(text: TextFile, name: str, row: int) -> MinerError:
    header = [_cut(each) for each in text.header]
    folded = [each for each in header if each.casefold() == name.casefold()]
    return MinerError(
        "records.no_column",
        file=text.name,
        row=row,
        name=name,
        columns=header[:12],
        map_it=map_it(text.name),
        close=folded[0] if folded else closest(name, header) or closest(name.casefold(), header),
    )


def _cut(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else f"{name[:_LONGEST_NAME]}..."


def read_rows(text: TextFile, source: Source, findings: Findings) -> Table:
    """Read the rows below the header.

    A row with more cells than the header is left out and counted, and so is one that is not whole;
    a blank row is passed over.
    """
    table = _read_fast(text, source)
    if table is None:
        body = text.body[text.body_at :]
        table = Table(text.name, *read_row_by_row(text, body, source, findings))
        whole = False
    else:
        whole = _whole(text, table)
    if not whole:
        odd = odd_rows(text, source.delimiter, table.rows, findings)
        table = table.keep(~odd)
    cells = table.cells
    blank = cells.isna().all(axis=1).to_numpy() if cells.iloc[:, 0].isna().any() else None
    return table.keep(~blank) if blank is not None and blank.any() else table


def _whole(text: TextFile, table: Table) -> bool:
    """Say whether each line was read as a row whose last cell is filled: none is cut or short."""
    last = table.cells.iloc[:, -1]
    return text.body.endswith(b"\n") and b'"' not in text.body and not last.isna().any()


def _read_fast(text: TextFile, source: Source) -> Table | None:
    names = [name or f"column {at + 1}" for at, name in enumerate(text.header)]
    body = memoryview(text.body)[text.body_at :]
    try:
        cells = _parsed(text, len(names), source)
        cells.columns = pd.Index(names)
        guessed = [name for name in source.texts if not _is_text(cells[name])]
        guessed += [name for name in _numbers_in_doubt(cells, body, source) if name not in guessed]
        if guessed:
            cells = _parsed(text, len(names), source, {names.index(n): "str" for n in guessed})
            cells.columns = pd.Index(names)
    except (pd.errors.ParserError, pd.errors.ParserWarning, pd.errors.EmptyDataError):
        return None
    if b'"' in text.body and text.lines != len(cells):
        rows = line_numbers(text.name, bytes(body), source.delimiter, text.first_row)
        return Table(text.name, cells, rows) if len(rows) == len(cells) else None
    rows = np.arange(text.first_row, text.first_row + len(cells), dtype=np.int64)
    return Table(text.name, cells, rows)


def _parsed(
    text: TextFile,
    columns: int,
    source: Source,
    texts: Mapping[int, str] | None = None,
    *,
    in_pieces: bool = True,
) -> pd.DataFrame:
    """Read the cells; in pieces, which is faster, where each column is of one kind in all."""
    names = [str(at) for at in range(columns)]
    held = io.BytesIO(text.body)  # nothing is copied
    held.seek(text.body_at)
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        warnings.simplefilter("error", pd.errors.DtypeWarning)
        try:
            return pd.read_csv(
                held,
                header=None,
                names=names,
                sep=source.delimiter,
                decimal=source.decimal,
                dtype={str(at): dtype for at, dtype in (texts or {}).items()},
                keep_default_na=False,
                na_values=["", *source.not_measured],
                index_col=False,
                skip_blank_lines=False,
                low_memory=in_pieces,
            )
        except pd.errors.DtypeWarning:
            return _parsed(text, columns, source, texts, in_pieces=False)


def _numbers_in_doubt(cells: pd.DataFrame, body: memoryview, source: Source) -> list[str]:
    """Return columns of numbers whose points may be for thousands; they are kept as text."""
    found: list[str] = []
    if source.stream == "glucose":  # no reading reaches a thousand
        return found
    for name in source.needed:
        if name in cells.columns and pd.api.types.is_float_dtype(cells[name]):
            values = cells[name].to_numpy(np.float64)
            values = values[np.isfinite(values)]
            parts = np.abs(values[values % 1 != 0])
            if ((parts >= 1) & (parts < 1000)).all():
                found.append(name)
    return found if found and _THOUSANDS.search(body) else []


def _is_text(cells: pd.Series) -> bool:
    return pd.api.types.is_string_dtype(cells) or bool(cells.isna().all())
