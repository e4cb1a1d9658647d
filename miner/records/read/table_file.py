"""Reads the rows of one delimited file, each with its line number.

Rows that are too short, too long or cut off are reported; what the fast way cannot read in full
is read row by row.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.files import plain_cell
from miner.core.messages import MinerError, Severity, closest
from miner.records.read.text_file import SEPARATORS, TextFile, map_it
from miner.records.text_columns import Text, bare

if TYPE_CHECKING:
    from miner.records.findings import Findings
    from miner.records.read.sources import Source

Mask: TypeAlias = NDArray[np.bool_]
Record: TypeAlias = tuple[int, list[str]]
"""The line in which a row begins, and its cells."""

_LOOKED_AT = 200
_LONGEST_CELL = 20
_MANY_CELLS = 4
_DIGITS = re.compile(r"\d+")
_WORDS = re.compile(r"[^\W\d_]+")


def odd_rows(text: TextFile, delimiter: str, rows: NDArray[np.int64], findings: Findings) -> Mask:
    """Say which rows are not to be used, and report them and those that lack cells.

    Left out are the last row of a file that ends in the middle of it, and rows in which a quote
    took the next ones as one text. What a short row lacks counts as not recorded.

    Args:
        text: the file; its header says how many cells a row has.
        delimiter: the mark between two cells.
        rows: the line number of each row that was read.
        findings: gets what is reported.
    """
    lines = text.lines
    marks = text.body.count(delimiter.encode(), text.body_at)
    whole = marks == lines * (len(text.header) - 1)
    ends = text.body.endswith(b"\n") or not lines
    odd = np.zeros(len(rows), dtype=bool)
    if whole and len(rows) == lines and ends:
        return odd
    records: list[Record] = []
    with suppress(MinerError):
        records = _records(text, delimiter)
    if not (whole and len(rows) == lines):
        odd |= np.isin(rows, _swallowed(text, records, delimiter, findings))
        used, last = set(rows[~odd].tolist()), len(records) if ends else len(records) - 1
        _tell_short(text, [each for each in records[:last] if each[0] in used], findings)
    if not ends:
        odd |= np.isin(rows, _cut_off(text, records, findings))
    return odd


def _records(text: TextFile, delimiter: str, *, strict: bool = False) -> list[Record]:
    """Return the rows below the header, each with the line in which it begins.

    Raises:
        MinerError: a cell is too long; if strict, also where a quote is never closed.
    """
    body = io.StringIO(text.body[text.body_at :].decode("utf-8"), newline="")
    reader = csv.reader(body, delimiter=delimiter, strict=strict)
    found: list[Record] = []
    last = 0
    try:
        for record in reader:
            found.append((text.first_row + last, record))
            last = reader.line_num
    except csv.Error as error:
        place: dict[str, Any] = {"file": text.name, "row": text.first_row + last}
        if not strict or "field larger" in str(error):
            most = csv.field_size_limit()
            raise MinerError("records.cell_too_long", most=most, **place) from error
        if "unexpected end" in str(error):
            raise MinerError("records.quote_never_closed", **place) from error
        return _records(text, delimiter)
    return found


def _tell_short(text: TextFile, records: list[Record], findings: Findings) -> None:
    width = len(text.header)
    short = [each for each in records if len(each[1]) < width and any(each[1])]
    fewest = min((len(record) for _, record in short), default=width)
    lacking = ", ".join(f"'{name}'" for name in text.header[fewest:][:6])
    at, values = _places(text, [row for row, _ in short]), {"width": width, "lacking": lacking}
    findings.rows(Severity.QUESTION, "short_row", at=at, column=lacking, values=values)


def _places(text: TextFile, rows: list[int]) -> pd.DataFrame:
    return pd.DataFrame({"file": text.name, "row": rows})


def _cut_off(text: TextFile, records: list[Record], findings: Findings) -> list[int]:
    """Return the last row where the file ends in the middle of it."""
    if not records:
        return []
    row, last = records[-1]
    before = [record for _, record in records[-_LOOKED_AT:-1]]
    sizes = [len(record[len(last) - 1]) for record in before if len(record) >= len(last) > 0]
    cut_cell = len(sizes) > 1 and last and 0 < len(last[-1]) < min(sizes)
    if not any(last) or (len(last) >= len(text.header) and not cut_cell):
        return []
    values = {"last": ",".join(last)[-40:]}
    findings.add(Severity.LEFT_OUT, "file_cut_off", file=text.name, row=row, values=values)
    return [row]


def _swallowed(
    text: TextFile, records: list[Record], delimiter: str, findings: Findings
) -> list[int]:
    """Return the rows in one of whose cells there are other rows."""
    rows = [row for row, record in records if _holds_rows(record, delimiter, len(text.header))]
    long = [
        row
        for row, record in records
        if row not in rows and any(cell.count("\n") >= _LONGEST_CELL for cell in record)
    ]
    findings.rows(Severity.QUESTION, "rows_swallowed", at=_places(text, rows))
    most = {"most": _LONGEST_CELL}
    findings.rows(Severity.QUESTION, "long_cell", at=_places(text, long), values=most)
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


def read_row_by_row(text: TextFile, source: Source, findings: Findings) -> RawTable:
    """Return the rows, read one by one; those with too many cells are left out and reported.

    Raises:
        MinerError: a quote is never closed, or a cell is too long.
    """
    width, kept, rows, ragged = len(text.header), [], [], []
    for row, record in _records(text, source.delimiter, strict=True):
        if any(cell.strip() for cell in record[width:]):
            ragged.append((row, source.delimiter.join(record)))
        else:
            kept.append((record + [""] * width)[:width])
            rows.append(row)
    findings.rows(
        Severity.LEFT_OUT,
        "cells_beyond_header",
        at=_places(text, [row for row, _ in ragged]),
        shown=[shown for _, shown in ragged],
        values={"width": width, "separator": SEPARATORS.get(source.delimiter, source.delimiter)},
    )
    cells = pd.DataFrame(kept, columns=list(text.header), dtype="str")
    cells = cells.mask(cells.isin(["", *source.not_measured]))
    return RawTable(text.name, cells, np.array(rows, dtype=np.int64))


_LONGEST_NAME = 60
_THOUSANDS = re.compile(rb"(?<![\d.])[1-9]\d{0,2}\.\d{3}(?!\d)")


@dataclass(frozen=True, slots=True)
class RawTable:
    """Rows of one file as they are written there.

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

        The apostrophe that keeps a spreadsheet from running a cell does not belong to its text.
        """
        cells = self.cells[column]
        if not pd.api.types.is_string_dtype(cells):
            cells = cells.astype("str")
        if bare(cells):
            return cells
        told = cells.fillna("").str.strip()
        quoted = told.str.startswith("'")
        return told.where(~quoted, told.map(plain_cell)) if quoted.any() else told

    def keep(self, mask: NDArray[np.bool_]) -> RawTable:
        """Return the rows for which the mask is true."""
        if mask.all():
            return self
        return RawTable(self.file, self.cells[mask].reset_index(drop=True), self.rows[mask])


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


def read_rows(text: TextFile, source: Source, findings: Findings) -> RawTable:
    """Read the rows below the header.

    A row with more cells than the header is left out and counted, and so is one that is not whole;
    a blank row is passed over.
    """
    table = _read_fast(text, source)
    whole = table is not None and _whole(text, table)
    if table is None:
        table = read_row_by_row(text, source, findings)
    if not whole:
        table = table.keep(~odd_rows(text, source.delimiter, table.rows, findings))
    cells = table.cells
    blank = cells.isna().all(axis=1).to_numpy() if cells.iloc[:, 0].isna().any() else None
    return table.keep(~blank) if blank is not None and blank.any() else table


def _whole(text: TextFile, table: RawTable) -> bool:
    """Say whether each line was read as a row whose last cell is filled: none is cut or short."""
    last = table.cells.iloc[:, -1]
    return text.body.endswith(b"\n") and b'"' not in text.body and not last.isna().any()


def _read_fast(text: TextFile, source: Source) -> RawTable | None:
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
        rows = np.array([row for row, _ in _records(text, source.delimiter)], dtype=np.int64)
        return RawTable(text.name, cells, rows) if len(rows) == len(cells) else None
    rows = np.arange(text.first_row, text.first_row + len(cells), dtype=np.int64)
    return RawTable(text.name, cells, rows)


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
