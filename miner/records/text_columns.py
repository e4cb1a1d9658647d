"""Columns as they are: texts that are blank or bare, and the dates of records."""

from __future__ import annotations

import unicodedata
from typing import TypeAlias

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

Text: TypeAlias = "pd.Series[str]"
Mask: TypeAlias = NDArray[np.bool_]
_BLANK, _ASCII = 0x20, 0x7F
_QUOTE = ord("'")


def repeated(word: str, times: int) -> Text:
    """Return a column that holds one word."""
    cells = pa.repeat(pa.scalar(word, pa.large_string()), times)
    return pd.Series(pd.array(cells, dtype="str"))


def blank(column: Text) -> Mask:
    """Say which cells hold an empty text; a missing one does not."""
    return np.asarray((column == "").to_numpy(), dtype=np.bool_)


def used_rows(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of a stream that are not left out; not to be changed in place."""
    kept = blank(frame["left_out"])
    return frame if kept.all() else frame[kept]


def dates_of(rows: pd.DataFrame) -> tuple[str, ...]:
    """Return the dates of rows that have a wall clock, in order."""
    clock = next((name for name in ("clock", "start_clock") if name in rows.columns), None)
    if clock is None:
        return ()
    return tuple(np.unique(rows[clock].dropna().to_numpy().astype("datetime64[D]")).astype(str))


def clock_of(frame: pd.DataFrame) -> pd.Series:
    """Return when the records of a stream begin, by the wall clock."""
    return frame["clock" if "clock" in frame.columns else "start_clock"]


def marked(frame: pd.DataFrame, rows: Mask, reason: str) -> pd.DataFrame:
    """Return a stream in which some of the rows that were used are left out for a reason."""
    free = rows & blank(frame["left_out"]) if rows.any() else rows
    return frame.assign(left_out=frame["left_out"].mask(free, reason)) if free.any() else frame


def changes(column: Text) -> NDArray[np.int64]:
    """Return the places of the cells that differ from the one before."""
    cells = column.array
    return np.flatnonzero(np.asarray(cells[1:] != cells[:-1])) + 1


def in_one_piece(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame whose columns of text are one buffer each: rows are taken from it faster."""
    whole = {}
    for name, column in frame.items():
        if isinstance(column.dtype, pd.StringDtype):
            cells = pa.array(column.array)
            if isinstance(cells, pa.ChunkedArray) and cells.num_chunks > 1:
                whole[str(name)] = pd.array(cells.combine_chunks(), dtype="str")
    return frame.assign(**whole) if whole else frame


def bare(column: Text) -> bool:
    """Say that no cell is missing, has blanks in it or around it, or an apostrophe.

    The column is looked at as the bytes it is; what is not ASCII, or held otherwise, is not bare.
    """
    if getattr(column.dtype, "storage", "") != "pyarrow" or column.hasnans:
        return False
    cells = pa.array(column.array)
    pieces = cells.chunks if isinstance(cells, pa.ChunkedArray) else [cells]
    letters = (np.frombuffer(piece.buffers()[2] or b"", np.uint8) for piece in pieces)
    return not any(
        each.size and (each.min() <= _BLANK or each.max() >= _ASCII or (each == _QUOTE).any())
        for each in letters
    )


def fold(text: str) -> str:
    """Return the text in one form (NFKC), lower case, with single spaces.

    Example:
        >>> fold("  Late\u00a0 Coffee ")
        'late coffee'
    """
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())
