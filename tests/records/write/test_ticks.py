"""What the client ticked."""

import pytest

from miner.core.messages import MinerError
from miner.records.write.ticks import read_ticks


def write(folder, name, text):
    (folder / name).write_text(text, encoding="utf-8")


def test_ticks_of_several_files(tmp_path):
    write(tmp_path, "ticks.csv", "date,plan,done\n2026-03-01,a1,yes\n2026-03-02,a1,No\n")
    write(tmp_path, "ticks-2.csv", "Plan,Answer,Date\na1,forgot,2026-03-03\nb2,yes,2026-03-01\n")
    ticks = read_ticks(tmp_path)
    assert ticks.findings == ()
    assert ticks.of("a1") == {"2026-03-01": "yes", "2026-03-02": "no", "2026-03-03": "forgot"}
    assert ticks.of("b2") == {"2026-03-01": "yes"}
    assert ticks.of("c3") == {}


def test_no_file_is_no_tick(tmp_path):
    assert read_ticks(tmp_path).by_day == {}
    write(tmp_path, "ticks.csv", "")
    assert read_ticks(tmp_path).by_day == {}


def test_rows_that_cannot_be_used_are_told_with_their_row(tmp_path):
    rows = "date,plan,done\n\n01.03.2026,a,yes\n2026-03-02,,yes\n2026-03-03,a,maybe\n2026-03-04,a\n"
    write(tmp_path, "ticks.csv", rows)
    ticks = read_ticks(tmp_path)
    assert ticks.by_day == {}
    assert sorted(item.row for item in ticks.findings) == [3, 4, 5, 6]


def test_a_day_ticked_both_ways_is_unknown_and_told(tmp_path):
    both = (
        "date,plan,done\n2026-03-01,a,yes\n2026-03-01,a,no\n2026-03-02,a,forgot\n2026-03-02,a,no\n"
    )
    write(tmp_path, "ticks.csv", both)
    ticks = read_ticks(tmp_path)
    assert ticks.of("a") == {"2026-03-02": "no"}
    assert [(str(item.severity), item.row) for item in ticks.findings] == [
        ("question", 3), ("note", 5),
    ]  # fmt: skip
    assert "both yes and no" in ticks.findings[0].what
    assert "both forgot and no" in ticks.findings[1].what


@pytest.mark.parametrize("header", ["day,plan,done", "date,plan", "date,done,x"])
def test_a_header_without_its_columns_is_refused(tmp_path, header):
    write(tmp_path, "ticks.csv", f"{header}\n2026-03-01,a,yes\n")
    with pytest.raises(MinerError, match=r"ticks.csv, row 1"):
        read_ticks(tmp_path)
