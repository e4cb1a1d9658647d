"""Spreadsheets, JSON lines and archives: read as their rows, or told why not."""

import io
import json
import os
import zipfile
from datetime import datetime

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from miner.core.messages import MinerError
from miner.records import read_client
from miner.records.propose.propose import propose
from miner.records.read import files

ENTRY = (
    '[[source]]\nfile = "{}"\nstream = "glucose"\n{}[source.columns]\n'
    'time = "{}"\nglucose_mg_dl = "{}"\n'
)
CSV = "when,value\n2026-03-02T08:00,101\n2026-03-02T08:05,102\n"


def book(*rows: list, sheets: tuple[str, ...] = ("Readings",)) -> bytes:
    made = Workbook()
    made.active.title = sheets[0]
    for name in sheets[1:]:
        made.create_sheet(name)
    for row in rows:
        made.active.append(row)
    buffer = io.BytesIO()
    made.save(buffer)
    return buffer.getvalue()


def packed(**files: str | bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in files.items():
            archive.writestr(name.replace("__", "."), content)
    return buffer.getvalue()


def read(folder, name, raw, keys="", time="when", value="value"):
    folder.write(name, raw)
    folder.write("sources.toml", ENTRY.format(name, keys, time, value))
    frame = read_client(folder.path).streams["glucose"]
    return list(zip(frame["clock"].astype(str), frame["glucose"], frame["row"], strict=True))


READ = [("2026-03-02 08:00:00", 101, 2), ("2026-03-02 08:05:00", 102, 3)]


def test_a_spreadsheet_with_real_dates(folder):
    raw = book(
        ["when", "value", None],
        [datetime(2026, 3, 2, 8, 0), 101],
        [datetime(2026, 3, 2, 8, 5), 102.0],
    )
    assert read(folder, "s.xlsx", raw) == READ


def test_a_spreadsheet_with_text_and_rows_above(folder):
    raw = book(["an export"], [], ["when", "value"], ["02/03/2026 08:00", "101,5"], [], [
        "02/03/2026 08:05", 102.5])  # fmt: skip
    keys = 'decimal = ","\nskip_rows = 1\ntime_format = "%d/%m/%Y %H:%M"\n'
    assert read(folder, "s.xlsx", raw, keys) == [
        ("2026-03-02 08:00:00", 101.5, 4),
        ("2026-03-02 08:05:00", 102.5, 6),
    ]


def test_a_spreadsheet_is_proposed(folder):
    raw = book(["an export"], ["Reading taken", "Glucose"], *(
        [datetime(2026, 3, 2, 8, m), 5.4] for m in range(0, 60, 5)))  # fmt: skip
    folder.write("s.xlsx", raw)
    (entry,) = (each.entry for each in propose(folder.path / "s.xlsx"))
    assert entry == {
        "file": "s.xlsx",
        "stream": "glucose",
        "skip_rows": 1,
        "columns": {"time": "Reading taken", "glucose_mmol_l": "Glucose"},
    }


def test_which_sheet_is_asked(folder):
    raw = book(["when", "value"], ["2026-03-02T08:00", 101], sheets=("A", "B"))
    with pytest.raises(MinerError, match="there are 2 sheets: 'A', 'B'"):
        read(folder, "s.xlsx", raw)
    assert len(read(folder, "s.xlsx", raw, 'part = "A"\n')) == 1
    with pytest.raises(MinerError, match="there is no sheet 'C'"):
        read(folder, "s.xlsx", raw, 'part = "C"\n')


def test_every_sheet_with_records_is_proposed(folder):
    rows = [[datetime(2026, 3, 2, 8, m), 5.4] for m in range(0, 60, 5)]
    raw = book(["when", "glucose"], *rows, sheets=("Readings", "Cover"))
    folder.write("s.xlsx", raw)
    found = propose(folder.path / "s.xlsx")
    assert {each.entry["part"] for each in found} == {"Readings"}
    assert propose(folder.path / "s.xlsx", {"part": "Readings"})[0].entry["part"] == "Readings"


def test_json_lines(folder):
    rows = [
        {"when": "2026-03-02T08:00", "bg": {"value": 101.25, "unit": "mg/dL"}},
        {"when": "2026-03-02T08:05", "bg": {"value": None}, "odd": [1, {"a": True}]},
        {"when": "2026-03-02T08:10", "bg": {"value": "LO"}},
    ]
    body = "\n".join([json.dumps(rows[0]), "", *map(json.dumps, rows[1:])])
    read_rows = read(folder, "s.jsonl", body, value="bg.value")
    assert [(row[0], row[2]) for row in read_rows] == [
        ("2026-03-02 08:00:00", 1),
        ("2026-03-02 08:10:00", 4),
    ]
    assert read_rows[0][1] == 101.25


def test_a_zipped_table(folder):
    raw = packed(a__csv=CSV, **{"__MACOSX/._a__csv": b"\0\1"})
    assert read(folder, "s.zip", raw) == READ


def test_a_zipped_table_is_proposed(folder):
    body = "when,glucose\n" + "".join(f"2026-03-02T08:{m:02d},5.4\n" for m in range(0, 60, 5))
    folder.write("s.zip", packed(a__csv=body, read__me=b"x"))
    assert propose(folder.path / "s.zip")[0].entry["columns"] == {
        "time": "when", "glucose_mmol_l": "glucose",
    }  # fmt: skip


def test_which_file_of_an_archive_is_asked(folder):
    raw = packed(a__csv=CSV, b__csv=CSV)
    with pytest.raises(MinerError, match=r"holds 2 text files: 'a\.csv', 'b\.csv'"):
        read(folder, "s.zip", raw)
    assert read(folder, "s.zip", raw, 'part = "b.csv"\n') == READ
    with pytest.raises(MinerError, match="there is no text file 'c"):
        read(folder, "s.zip", raw, 'part = "c.csv"\n')
    with pytest.raises(MinerError, match="holds 0 text files"):
        read(folder, "s.zip", packed(a__bin=b"x"))


def test_a_file_too_large_is_refused_with_its_size(folder, monkeypatch):
    monkeypatch.setattr(files, "LARGEST_BYTES", 40)
    with pytest.raises(MinerError, match=f"the file has {len(CSV) * 2 / 1e6:.3g} MB"):
        read(folder, "s.csv", CSV * 2)
    monkeypatch.setattr(files, "LARGEST_BYTES", 4_000)
    monkeypatch.setattr("miner.records.standards.LARGEST_JSON_BYTES", 2_000)
    folder.steady_glucose(hours=4).write("a.json", b"[" + b" " * 3_000 + b"]")
    (told,) = [item for item in read_client(folder.path).findings if item.file == "a.json"]
    assert "the file is left out: the file has 0.003 MB" in told.what
    assert told.expected == "at most 0.002 MB"


@pytest.mark.parametrize("name", ["meals.csv", "client.toml", "glucose-2.csv", "a.json"])
@pytest.mark.parametrize("kind", ["device", "pipe"])
def test_a_device_and_a_pipe_are_not_read(folder, name, kind):
    folder.steady_glucose()
    if kind == "pipe":
        os.mkfifo(folder.path / name)
    else:
        (folder.path / name).symlink_to("/dev/zero")
    if name in ("meals.csv", "a.json"):
        (told,) = [item for item in read_client(folder.path).findings if item.file == name]
        assert "left out: this is a device or a pipe" in told.what
    else:
        with pytest.raises(MinerError, match="a device or a pipe"):
            read_client(folder.path)


def test_an_archive_that_unpacks_to_too_much_is_refused(folder, monkeypatch):
    monkeypatch.setattr("miner.records.read.text_file.LARGEST_BYTES", 100_000)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", CSV + "0" * 30_000_000)
    with pytest.raises(MinerError, match="the file has 30 MB"):
        read(folder, "s.zip", buffer.getvalue())
    monkeypatch.setattr("miner.records.read.spreadsheet.LARGEST_BYTES", 1000)
    with pytest.raises(MinerError, match=r"the file has .* MB"):
        read(folder, "s.xlsx", book(["when", "value"]))


GOOD = {
    "s.xlsx": book(["when", "value"], ["2026-03-02T08:00", 101]),
    "s.zip": packed(a__csv=CSV),
    "s.jsonl": b'{"when": "2026-03-02T08:00", "value": 101}\n' * 3,
}


FUZZ_TIMES = int(os.environ.get("FUZZ_TIMES", "1"))


@pytest.mark.cases
@settings(max_examples=40 * FUZZ_TIMES, derandomize=True, deadline=None, phases=[Phase.generate])
@given(
    name=st.sampled_from(sorted(GOOD)),
    edits=st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 4), st.binary(max_size=3)), max_size=5
    ),
)
def test_no_edit_of_any_kind_is_a_traceback(tmp_path_factory, name, edits):
    raw = GOOD[name]
    for place, removed, put in edits:
        at = int(place * len(raw))
        raw = raw[:at] + put + raw[at + removed :]
    folder = tmp_path_factory.mktemp("kinds")
    (folder / name).write_bytes(raw)
    (folder / "sources.toml").write_text(ENTRY.format(name, "", "when", "value"))
    for attempt in (lambda: read_client(folder), lambda: propose(folder / name)):
        parts = ("read", "as", "it is")
        try:
            attempt()
        except MinerError as error:
            parts = (error.found, error.expected, error.do)
        assert all(parts)


def test_a_sheet_whose_packed_part_is_damaged_is_refused_in_words(tmp_path):
    raw = GOOD["s.xlsx"]
    for place, removed, put in [(0.631180684388955, 4, b"q${")] * 2 + [
        (0.631180684388955, 1, b"\x1f.\x1c"),
        (0.98, 3, b"q${"),
    ]:
        at = int(place * len(raw))
        raw = raw[:at] + put + raw[at + removed :]
    (tmp_path / "s.xlsx").write_bytes(raw)
    (tmp_path / "sources.toml").write_text(ENTRY.format("s.xlsx", "", "when", "value"))
    with pytest.raises(MinerError, match="cannot be read"):
        read_client(tmp_path)
