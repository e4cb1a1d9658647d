"""Files that cannot be used as they stand: what is said of each, and never a traceback."""

import os
from pathlib import Path

import pytest

from miner.core.messages import MinerError
from miner.records import read_client
from miner.steps.mapping import map_file

GOOD = "time,glucose_mg_dl\n2026-03-02T08:00,101\n2026-03-02T08:05,102\n"


def message(path: Path) -> str:
    with pytest.raises(MinerError) as error:
        read_client(path)
    return error.value.message


def left_out(path: Path):
    (told,) = [item for item in read_client(path).findings if item.code == "file_left_out"]
    return told


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


def test_files_that_wait_do_not_make_a_client_a_practice(folder):
    folder.write("meals.csv", "time,label\n2026-03-02T08:00,soup\n")
    for inside, practice in ((".waiting", False), ("client-01", True)):
        (folder.path / inside).mkdir()
        (folder.path / inside / "export.csv").write_text("When;What\n")
        assert ("the folder of a practice" in message(folder.path)) == practice


def test_what_is_written_beside_invented_clients_does_not_hide_that_it_is_a_practice(folder):
    folder.write("truth.json", "{}\n")
    (folder.path / "client-01").mkdir()
    (folder.path / "client-01" / "glucose.csv").write_text("time,glucose_mg_dl\n")
    assert "the folder of a practice" in message(folder.path)


@pytest.mark.parametrize("text", ["", "\n\n", "time,glucose_mg_dl\n", "time,glucose_mg_dl"])
def test_glucose_file_without_a_reading(folder, text):
    folder.write("glucose.csv", text)
    assert "there are no glucose readings" in message(folder.path)


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
    told = left_out(folder.path)
    assert (told.file, told.row, told.stream) == ("meals.csv", 3, "meals")
    assert "'é'" in told.do
    assert "cp1252" in told.do


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
    assert "the column 'time' twice" in message(folder.path)


def test_a_quote_that_is_never_closed(folder):
    folder.glucose("2026-03-02T08:00,101")
    folder.write("meals.csv", 'time,label\n2026-03-02T08:00,"soup\n2026-03-02T13:00,rice\n')
    told = left_out(folder.path)
    assert (told.file, told.row) == ("meals.csv", 2)
    assert "never closes" in told.what


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("sleep.csv", "start,asleep_min\n2026-03-02T23:00,400\n"),
        ("stress.csv", "when,what\n1,2\n"),
        ("activity.csv", "start,end,kind\n" + "yesterday,today,walking\n" * 5),
        ("meals.csv", "time,label\n" + "noon,soup\n" * 5),
        ("tags.csv", "patient,time,tag\na,2026-03-02T08:00,x\nb,2026-03-02T09:00,x\n"),
    ],
)
def test_an_optional_file_that_cannot_be_read_is_left_out(folder, name, text):
    folder.steady_glucose().write(name, text)
    folder.write("meals-2.csv", "time,label\n2026-03-02T08:00,rice\n")
    client = read_client(folder.path)
    assert len(client.used("glucose")) == 288
    assert client.streams["meals"]["label"].tolist() == ["rice"]
    (told,) = [item for item in client.findings if item.code == "file_left_out"]
    assert told.file == name
    assert (told.severity, told.code, told.stream) == ("left_out", "file_left_out", name[:-4])
    assert all((told.what, told.expected, told.do))
    assert not any(item.severity == "stop" for item in client.findings)


def test_glucose_that_cannot_be_read_stops(folder):
    folder.steady_glucose().write("glucose-2.csv", "when,value\n1,2\n")
    assert "glucose-2.csv" in message(folder.path)


def test_open_records_that_cannot_be_read_stop_where_there_is_no_other_glucose(folder):
    folder.write("a.json", "{oops").write("meals.csv", "time,label\n2026-03-02T08:00,rice\n")
    assert "this is not valid JSON" in message(folder.path)


def test_an_export_that_nobody_mapped_is_named_with_what_to_run(folder):
    folder.write("meals.csv", "time,label\n2026-03-02T08:00,soup\n")
    assert "Put the sensor's file there" in message(folder.path)
    folder.write("my export.csv", "a,b\n")
    assert "If 'my export.csv' is the sensor's file, run \"miner map 'my export.csv'" in message(
        folder.path
    )
    assert "Give one of the folders in it" in message(folder.path.parent)


@pytest.mark.parametrize("name", [b"meals-caf\xe9.csv", b"export-\xff.csv"])
def test_a_name_that_is_not_utf_8_is_shown_and_read(folder, name):
    path = folder.steady_glucose().path / os.fsdecode(name)
    path.write_text("time,label\n2026-03-02T08:00,soup\nnoon,rice\n")
    client = read_client(folder.path)
    told = [item for item in client.findings if "\ufffd" in (item.file or "")]
    assert len(told) == 1
    told[0].what.encode("utf-8")
    assert client.streams["meals"]["label"].tolist() == ["soup"] * name.startswith(b"meals")
    [name.encode("utf-8") for name in client.streams["meals"]["file"]]


def test_a_folder_whose_name_is_not_utf_8(tmp_path):
    path = tmp_path / os.fsdecode(b"caf\xe9")
    path.mkdir()
    message(path).encode("utf-8")
    (path / "glucose.csv").write_text(GOOD)
    assert read_client(path).settings.code == "caf\ufffd"
