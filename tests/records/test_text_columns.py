"""Columns of text looked at as bytes say what pandas says of them cell by cell."""

from __future__ import annotations

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from miner.records.text_columns import bare, blank, changes, in_one_piece, repeated, used_rows

CELLS = st.sampled_from(
    ["", "a", "b", "aa", "ab", "ba", "é", " a", "a ", "a b", "'a", "a'b", "\ta"]
)
COLUMNS = st.lists(CELLS, max_size=8).map(lambda cells: pd.Series(cells, dtype="str"))
JOINED = st.lists(COLUMNS, min_size=1, max_size=3).map(lambda some: pd.concat(some).iloc[1:])
WITH_GAPS = st.lists(CELLS | st.none(), max_size=8).map(lambda cells: pd.Series(cells, dtype="str"))


@given(COLUMNS | JOINED | WITH_GAPS)
def test_the_empty_texts_are_those_that_pandas_finds(column):
    np.testing.assert_array_equal(blank(column), (column == "").to_numpy(dtype=bool))


@given(COLUMNS | JOINED)
def test_the_changes_are_where_a_cell_differs_from_the_one_before(column):
    cells = column.tolist()
    assert changes(column).tolist() == [k for k in range(1, len(cells)) if cells[k] != cells[k - 1]]


@given(COLUMNS | JOINED | WITH_GAPS)
def test_bare_texts_are_the_same_without_blanks_around_them(column):
    if bare(column):
        cells = column.tolist()
        assert cells == [str(cell).strip() for cell in cells]
        assert not any(cell.startswith("'") for cell in cells)


def test_times_without_blanks_are_bare():
    assert bare(pd.Series(["2026-03-02T08:30", ""], dtype="str"))
    assert not bare(pd.Series(["2026-03-02 08:30"], dtype="str"))
    assert not bare(pd.Series(["08:30", None], dtype="str"))
    assert not bare(pd.Series(["08:30", 5], dtype=object))


@given(CELLS, st.integers(0, 5))
def test_a_word_repeated_is_the_column_that_pandas_makes(word, times):
    pd.testing.assert_series_equal(repeated(word, times), pd.Series([word] * times, dtype="str"))


def test_rows_that_are_left_out_are_not_used():
    frame = pd.DataFrame({"left_out": pd.Series(["", "stuck", ""], dtype="str"), "row": [2, 3, 4]})
    assert used_rows(frame)["row"].tolist() == [2, 4]
    kept = frame.iloc[[0, 2]]
    assert used_rows(kept) is kept


@given(st.lists(COLUMNS, min_size=1, max_size=3))
def test_a_frame_in_one_piece_holds_the_same(columns):
    frame = pd.concat([column.to_frame("text") for column in columns], ignore_index=True)
    pd.testing.assert_frame_equal(in_one_piece(frame), frame)
    numbers = pd.DataFrame({"row": [2, 3]})
    assert in_one_piece(numbers) is numbers
