"""Records that end before they begin: which other reading of the columns is proposed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from miner.records import read_client
from miner.records.check.clocks import other_order


def glucose(folder: Path) -> None:
    times = [f"2026-03-{day:02d}T{hour:02d}:00" for day in range(1, 11) for hour in range(24)]
    rows = "".join(f"{time},{100 + k % 7}\n" for k, time in enumerate(times))
    (folder / "glucose.csv").write_text(f"time,glucose_mg_dl\n{rows}")


@pytest.mark.parametrize(
    ("columns", "start", "end", "proposal"),
    [
        ("start,end", "{next}T07:00", "{day}T23:10", "swap"),
        ("start,end", "{day}T23:10", "{day}T07:00", "next_day"),
        ("end,start", "{next}T07:00", "{day}T23:10", None),
    ],
)
def test_nights_the_wrong_way_round(
    tmp_path: Path, columns: str, start: str, end: str, proposal: str | None
) -> None:
    glucose(tmp_path)
    days = [(f"2026-03-{k:02d}", f"2026-03-{k + 1:02d}") for k in range(1, 9)]
    rows = [f"{start},{end}".format(day=day, next=after) for day, after in days]
    (tmp_path / "sleep.csv").write_text("\n".join([columns, *rows]))
    found = [item for item in read_client(tmp_path).findings if item.code == "ends_before_begins"]
    if proposal is None:
        assert found == []
        return
    assert [item.values["proposal"] for item in found] == [proposal]
    assert (found[0].file, found[0].row, found[0].count) == ("sleep.csv", 2, 8)
    assert found[0].what == "8 of 8 records of sleep end before they begin"
    assert len(found[0].days) == 8


def test_one_row_the_wrong_way_round_is_no_question_of_the_columns(tmp_path: Path) -> None:
    glucose(tmp_path)
    rows = [f"2026-03-{k:02d}T23:10,2026-03-{k + 1:02d}T07:00" for k in range(1, 9)]
    rows[2] = "2026-03-03T23:10,2026-03-03T07:00"
    (tmp_path / "sleep.csv").write_text("\n".join(["start,end", *rows]))
    assert "ends_before_begins" not in [item.code for item in read_client(tmp_path).findings]


def test_walks_are_short_and_neither_reading_wins_a_draw() -> None:
    assert other_order(np.full(5, 30.0), "activity") == "swap"
    assert other_order(np.full(5, 1410.0), "activity") == "next_day"
    assert other_order(np.full(5, 720.0), "sleep") == ""
    assert other_order(np.full(5, 720.0), "activity") == ""
