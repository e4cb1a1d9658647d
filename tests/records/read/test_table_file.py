"""Rows of a delimited file: each line is a row, and cells stay what is written in them."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from miner.records.findings import Findings
from miner.records.read.sources import canonical
from miner.records.read.table_file import RawTable, read_rows
from miner.records.read.text_file import open_text

HEADER = ["time", "glucose_mg_dl"]
CELLS = st.sampled_from(["", "1", "2.5", "x", " ", "2026-03-01T08:00"])
LINES = st.lists(st.lists(CELLS, min_size=1, max_size=2).map(",".join), min_size=1, max_size=8)


def rows_of(body: str, header: Sequence[str] = HEADER) -> tuple[RawTable, Findings]:
    raw = "\n".join([",".join(header), body]).encode()
    text = open_text("glucose.csv", raw, encoding=None, delimiter=",", skip_rows=0)
    findings = Findings()
    table = read_rows(text, canonical("glucose.csv", "glucose", list(header), None), findings)
    return table, findings


@given(LINES)
def test_every_line_is_a_row_under_its_own_number_and_short_ones_are_reported(lines):
    table, findings = rows_of("\n".join(lines) + "\n")
    filled = [at + 2 for at, line in enumerate(lines) if line.strip(",")]
    assert table.rows.tolist() == filled
    short = any("," not in line and line for line in lines)
    assert short == any(item.code == "short_row" for item in findings.items)


@pytest.mark.parametrize("at", [0, 1100, 1999])
def test_cells_stay_as_written_where_one_far_down_is_of_another_kind(at):
    # pandas takes so wide a file a thousand rows at a time, and finds the kind of each piece alone
    written = [f"{value % 300:03d}" for value in range(2000)]
    written[at] = "LO"
    more = [f"column{number}" for number in range(700)]
    body = "".join(f"2026-03-01T08:00,{value}{',' * len(more)}\n" for value in written)
    table, _ = rows_of(body, [*HEADER, *more])
    assert table.text("glucose_mg_dl").tolist() == written
