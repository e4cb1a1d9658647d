"""Columns of text, looked at as the bytes they are: a word repeated a million times costs little.

A column of text is one buffer of letters, and the place in it at which each cell begins.
"""

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
    letters = word.encode()
    begins = np.zeros(times + 1, dtype=np.int64)
    if letters:
        begins = np.arange(0, (times + 1) * len(letters), len(letters), dtype=np.int64)
    buffers = (pa.py_buffer(begins), pa.py_buffer(letters * times))
    return pd.Series(pd.array(pa.LargeStringArray.from_buffers(times, *buffers), dtype="str"))


def blank(column: Text) -> Mask:
    """Say which cells hold an empty text; a missing one does not."""
    pieces = _pieces(column)
    if pieces is None:
        return np.asarray((column == "").to_numpy(), dtype=np.bool_)
    sizes = [_empty(begins) for begins, _ in pieces]
    return sizes[0] if len(sizes) == 1 else np.concatenate([np.zeros(0, np.bool_), *sizes])


def _empty(begins: NDArray[np.int64]) -> Mask:
    if begins[0] == begins[-1]:
        return np.ones(len(begins) - 1, dtype=np.bool_)
    return np.asarray(begins[1:] == begins[:-1])


def used_rows(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of a stream that are not left out; not to be changed in place."""
    kept = blank(frame["left_out"])
    return frame if kept.all() else frame[kept]


def clock_of(frame: pd.DataFrame) -> pd.Series:
    """Return when the records of a stream begin, by the wall clock."""
    return frame["clock" if "clock" in frame.columns else "start_clock"]


def marked(frame: pd.DataFrame, rows: Mask, reason: str) -> pd.DataFrame:
    """Return a stream in which some of the rows that were used are left out for a reason."""
    free = rows & blank(frame["left_out"]) if rows.any() else rows
    return frame.assign(left_out=frame["left_out"].mask(free, reason)) if free.any() else frame


def changes(column: Text) -> NDArray[np.int64]:
    """Return the places of the cells that differ from the one before."""
    pieces = _pieces(column)
    if pieces is not None and len(pieces) == 1:
        begins, letters = pieces[0]
        size = len(letters) // max(len(column), 1)
        if (np.diff(begins) == size).all():
            if not size:
                return np.zeros(0, dtype=np.int64)
            other = np.flatnonzero(letters[size:] != letters[:-size])
            return np.unique(other // size) + 1
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
    """Say that no cell is missing, has blanks in it or around it, or an apostrophe."""
    pieces = _pieces(column)
    if pieces is None:
        return False
    return all(
        letters.size == 0
        or (letters.min() > _BLANK and letters.max() < _ASCII and not (letters == _QUOTE).any())
        for _, letters in pieces
    )


def _pieces(column: Text) -> list[tuple[NDArray[np.int64], NDArray[np.uint8]]] | None:
    """Return where the cells begin, and their letters, or None where a cell is missing."""
    if not isinstance(column.dtype, pd.StringDtype) or column.dtype.storage != "pyarrow":
        return None
    cells = pa.array(column.array)
    found = []
    for piece in cells.chunks if isinstance(cells, pa.ChunkedArray) else [cells]:
        if piece.null_count or piece.type != pa.large_string():
            return None
        _, begins, letters = piece.buffers()
        places = np.frombuffer(begins, np.int64)[piece.offset : piece.offset + len(piece) + 1]
        found.append((places, np.frombuffer(letters or b"", np.uint8)[places[0] : places[-1]]))
    return found


def fold(text: str) -> str:
    """Return the text in one form (NFKC), lower case, with single spaces.

    Example:
        >>> fold("  Late\u00a0 Coffee ")
        'late coffee'
    """
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())
