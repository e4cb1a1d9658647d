"""Files that cannot be used as they stand: what is said of each, and never a traceback."""

from pathlib import Path

import pytest

from miner.api.mapping import map_file
from miner.errors import MinerError
from miner.records import read_client

GOOD = "time,glucose_mg_dl\n2026-03-02T08:00,101\n2026-03-02T08:05,102\n"


def message(path: Path) -> str:
    with pytest.raises(MinerError) as error:
        read_client(path)
    return error.value.message


def test_missing_folder(tmp_path):
    assert "there is no such folder" in message(tmp_path / "nobody")


def test_a_file_instead_of_a_folder(folder):
    folder.glucose("2026-03-02T08:00,101")
    assert "this is a file" in message(folder.path / "glucose.csv")


def test_empty_folder(folder):
    assert "the folder is empty" in message(folder.path)


def test_no_glucose_file_names_what_is_there(folder):
    folder.write("meals.csv", "time,label\n2026-03-02T08:00,soup\n")
    said = message(folder.path)
    assert "there is no glucose file" in said
    assert "meals.csv" in said


@pytest.mark.parametrize("text", ["", "\n\n", "time,glucose_mg_dl\n", "time,glucose_mg_dl"])
def test_glucose_file_without_a_reading(folder, text):
    folder.write("glucose.csv", text)
    assert "there is not one glucose reading" in message(folder.path)


@pytest.mark.parametrize(("mark", "name"), [(";", "a semicolon"), ("\t", "a tab"), ("|", "a bar")])
def test_wrong_delimiter_says_which_it_seems_to_be(folder, mark, name):
    folder.write("glucose.csv", GOOD.replace(",", mark))
    said = message(folder.path)
    assert f"seems to be separated by {name}" in said
    assert 'run "miner map glucose.csv --write"' in said
    assert "glucose.csv, row 1" in said
    map_file(folder.path / "glucose.csv", write=True)
    assert len(read_client(folder.path).used("glucose")) == 2


@pytest.mark.parametrize(
    ("raw", "kind"),
    [
        (b"PK\x03\x04\x14\x00\x06\x00", "a spreadsheet or an archive"),
        (b"%PDF-1.7\n", "a PDF document"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", "an old spreadsheet"),
        (b"\x00\x01\x02\x03" * 20, "zero bytes"),
    ],
)
def test_not_text(folder, raw, kind):
    folder.write("glucose.csv", raw)
    assert kind in message(folder.path)


def test_utf_16_without_a_mark_is_suspected(folder):
    folder.write("glucose.csv", GOOD, "utf-16-le")
    assert 'encoding = "utf-16"' in message(folder.path)


def test_not_utf_8_names_the_row_and_what_it_may_be(folder):
    folder.glucose("2026-03-02T08:00,101")
    folder.write(
        "meals.csv", "time,label\n2026-03-02T08:00,soup\n2026-03-02T13:00,café\n", "cp1252"
    )
    said = message(folder.path)
    assert "meals.csv, row 3" in said
    assert "'é'" in said
    assert "cp1252" in said


def test_a_folder_named_like_a_file(folder):
    (folder.path / "glucose.csv").mkdir()
    assert "this is a folder" in message(folder.path)


def test_no_right_to_read(folder, monkeypatch):
    folder.glucose("2026-03-02T08:00,101")

    def refuse(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    said = message(folder.path)
    assert "glucose.csv" in said
    assert "Permission denied" in said


def test_missing_column_names_the_nearest(folder):
    folder.glucose("2026-03-02T08:00,101", header="Time,glucose_mg_dl")
    said = message(folder.path)
    assert "there is no column 'time'" in said
    assert "Did you mean 'Time'?" in said
    assert "sources.toml" in said


def test_missing_value_column(folder):
    folder.glucose("2026-03-02T08:00,101", header="time,glucose_mgdl")
    said = message(folder.path)
    assert "there is no column 'glucose_mg_dl'" in said
    assert "Did you mean 'glucose_mgdl'?" in said


def test_column_twice_in_the_header(folder):
    folder.glucose("2026-03-02T08:00,101,7", header="time,glucose_mg_dl,time")
    assert "the column 'time' stands twice" in message(folder.path)


def test_a_quote_that_is_never_closed(folder):
    folder.glucose("2026-03-02T08:00,101")
    folder.write("meals.csv", 'time,label\n2026-03-02T08:00,"soup\n2026-03-02T13:00,rice\n')
    said = message(folder.path)
    assert "meals.csv, row 2" in said
    assert "never closed" in said


def test_an_export_that_nobody_mapped_is_named_with_what_to_run(folder):
    folder.write("meals.csv", "time,label\n2026-03-02T08:00,soup\n")
    assert "Put the sensor's file there" in message(folder.path)
    folder.write("my export.csv", "a,b\n")
    assert "If 'my export.csv' is the sensor's file, run \"miner map 'my export.csv'" in message(
        folder.path
    )
    assert "give one of the folders in it" in message(folder.path.parent)
