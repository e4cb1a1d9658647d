"""One archive holds everything, says what is in it, and is the same to the byte."""

import csv
import io
import os
import re
import shutil
import sys
import zipfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from miner import ledger, rulebook, steps
from miner.cli.export import archive_texts
from miner.cli.group import miner as commands
from miner.core import resources
from miner.records import STREAMS
from miner.records.columns import columns_of
from miner.records.write.entering import DiaryEntry
from miner.records.write.tables import inert
from miner.records.write.ticks import ticks_in

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "words"))
import page_clients

AT = datetime(2026, 4, 1, 9, tzinfo=UTC)
OWN_WORDS = "Xylophone: only for me"


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A practice whose rankings need few draws: how many there are is no matter here."""
    home = tmp_path_factory.mktemp("practice")
    (home / "rules").mkdir()
    book = (resources.folder("rules") / "guardrails.toml").read_text("utf-8")
    few = re.sub(r"(?m)^draws = .*$", "draws = 200", book)
    (home / "rules" / "guardrails.toml").write_text(few, "utf-8")
    return home


@pytest.fixture(scope="module")
def rules(home):
    return rulebook.load(home / "rules")


@pytest.fixture(scope="module")
def folder(home, rules):
    """A client with hostile words everywhere, one idea kept, two pages shared."""
    folder = page_clients.make_hostile(page_clients.write_invented(home))
    first = str(steps.read_client(folder).used("meals")["clock"].iloc[0])[:10]
    steps.write_note(folder, "day", AT.date(), OWN_WORDS, now=AT)
    steps.correct(folder, DiaryEntry("tags", first, values={"tag": "=1+1"}), rules, now=AT)
    client = steps.read_client(folder)
    ranking = steps.rank(client, rules, now=AT, remember=True)
    found = next(item for item in ranking.hypotheses if item.difference)
    steps.keep(client, found.id, "watch", rules, now=AT, note="\u202e=1+1\n../../x")
    words = ("brief", folder, "--include", found.id, "--as")
    run(*words, "take-home", "--out", folder / "home.html")
    run(*words, "doctor", "--out", home / "doctor.html")
    ticks = 'date,plan,done\n2026-03-01,abc,yes\n\n2026-03-02," =1+1",yes\n2026-03-03,@x,-no\n'
    (folder / "ticks-of-mine.csv").write_text(ticks)
    return folder


def run(*words):
    result = CliRunner().invoke(commands, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result


@pytest.fixture(scope="module")
def archive(folder):
    out = folder.parent / "all.zip"
    shown = run("export", folder, "--as", "everything", "--out", out)
    with zipfile.ZipFile(out) as file:
        assert file.testzip() is None
        names = file.namelist()
        assert shown.stdout.split() == [str(out / name) for name in names]
        return {name: file.read(name) for name in names}


def test_it_holds_everything_under_neutral_names(archive, folder):
    assert list(archive) == [
        "README.txt", *(f"records/{name}.csv" for name in STREAMS), "records/ticks-1.csv",
        "records/client.toml", "records/ledger.jsonl", "notes/corrections.csv", "notes/notes.md",
        "history.txt", "pages/01-take-home.html", "pages/02-doctor.html",
    ]  # fmt: skip
    assert archive["records/ledger.jsonl"] == (folder / "ledger.jsonl").read_bytes()
    assert archive["pages/01-take-home.html"] == (folder / "home.html").read_bytes()


def test_its_first_file_says_what_each_of_the_others_is(archive):
    told = " ".join(archive["README.txt"].decode("utf-8").split())
    for name in archive:
        assert name == "README.txt" or f"{name}: " in told
    assert "as it was" in told.partition("01-take-home")[2].partition("02-doctor")[0]
    assert "made again" in told.partition("02-doctor")[2]


def test_when_a_tracker_measured_is_in_it_and_its_first_file_says_so(tmp_path):
    invented = resources.invented()
    folder = tmp_path / "client"
    invented.write_client(folder, replace(invented.scenarios(1, days=9)[0], messy=True))
    names, _ = steps.export_everything(
        steps.read_client(folder), tmp_path / "all.zip", archive_texts()
    )
    assert {"records/worn-stress.csv", "records/sources.toml"} <= set(names)
    with zipfile.ZipFile(tmp_path / "all.zip") as file:
        told = " ".join(file.read("README.txt").decode("utf-8").split())
    assert "worn-stress.csv: when the tracker measured this, from and to" in told


def test_the_history_is_in_plain_words(archive, folder):
    text = archive["history.txt"].decode("utf-8")
    events = ledger.read(folder).events
    assert text.count(" 2026  ") >= len(events)
    for word in ("were searched", "was kept to watch", "A page to share was made: take-home"):
        assert word in text
    assert "{" not in text


def test_hostile_words_stay_words(archive):
    for name in ("README.txt", "history.txt"):
        text = archive[name].decode("utf-8")
        assert "\u202e" not in text
        assert all(mark.isprintable() or mark == "\n" for mark in text)
    for name, data in archive.items():
        if name.endswith(".html"):
            page = data.decode("utf-8")
            assert "<script>alert" not in page
            assert "<img src=x" not in page
            assert page.count("</title>") == 1
    assert all(
        set(name) <= set("README.txtabcdefghijklmnopqrstuvwxyz0123456789-/") for name in archive
    )


def test_no_cell_of_any_table_in_it_is_run_by_a_spreadsheet(archive, folder, tmp_path):
    number = re.compile(r"-?\d+(\.\d+)?(e-?\d+)?")
    tables = {name: data.decode() for name, data in archive.items() if name.endswith(".csv")}
    assert len(tables) == len(STREAMS) + 2
    cells = {
        name: [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
        for name, text in tables.items()
    }
    # OWASP, "CSV injection": a cell that begins with one of these may be taken for a formula
    run_ = re.compile(r"\s*[=+\-@\t\r]")
    bad = [
        (name, cell)
        for name, own in cells.items()
        for cell in own
        if run_.match(cell) and not number.fullmatch(cell)
    ]
    assert bad == []
    hostile = '\'=HYPERLINK("http://example.invalid","x")'
    assert hostile.casefold() in [cell.casefold() for cell in cells["records/tags.csv"]]
    assert hostile.casefold() in [cell.casefold() for cell in cells["records/meals.csv"]]
    assert "'=1+1" in cells["records/ticks-1.csv"]
    copy = tmp_path / "ticks-1.csv"
    copy.write_bytes(archive["records/ticks-1.csv"])
    old, new = (ticks_in([path]) for path in (folder / "ticks-of-mine.csv", copy))
    assert ("=1+1", "2026-03-02") in old.by_day
    assert new.by_day == old.by_day
    assert [item.row for item in new.findings] == [item.row for item in old.findings] == [5]


def test_a_table_typed_by_hand_without_formulas_stays_to_the_byte():
    for raw in (b"date,plan\r\n2026-03-01,'=x\r\n", b"\xff\xfe\x00", b"", b'"open,\n\x00'):
        assert inert("ticks.csv", raw) == raw
    assert inert("c.csv", b'\xef\xbb\xbfa,"\t=1"\r\n\tb,c\r\n') == b"a,'=1\nb,c\n"


def test_notes_and_corrections_stand_apart_and_on_no_page(archive, folder):
    for name in ("corrections.csv", "notes.md"):
        assert archive[f"notes/{name}"] == (folder / name).read_bytes()
    assert b"'=1+1" in archive["notes/corrections.csv"]
    holding = [name for name, data in archive.items() if b"Xylophone" in data]
    assert holding == ["notes/notes.md"]
    assert sum(name.startswith("pages/") for name in archive) == 2
    shown = run("export", folder, "--as", "everything", "--out", folder.parent / "again.zip")
    assert "Read them before you hand it over." in shown.stderr


def test_its_records_are_read_again_as_the_same(archive, folder, tmp_path, rules):
    for name, data in archive.items():
        if name.startswith("records/"):
            (tmp_path / name.partition("/")[2]).write_bytes(data)
    client, again = steps.read_client(folder), steps.read_client(tmp_path)
    for stream in STREAMS:
        columns = [name for name in columns_of(stream) if name not in ("file", "row")]
        old, new = (
            one.streams[stream][columns].sort_values(columns, ignore_index=True)
            for one in (client, again)
        )
        assert old.equals(new)
    assert steps.history(again, rules).entries == steps.history(client, rules).entries
    assert [one.id for one in steps.follow(again, rules, remember=False).kept] == [
        one.id for one in steps.follow(client, rules, remember=False).kept
    ]
    # hidden files are not handed over: that the note of the last entry is missing is told
    (problem,) = ledger.read(tmp_path).problems
    assert "the note of its last entry" in problem.what


def test_a_ledger_cut_short_is_told_in_the_archive(folder, tmp_path, rules):
    copy = shutil.copytree(folder, tmp_path / "copy")
    path = copy / ledger.NAME
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    steps.export_everything(steps.read_client(copy), tmp_path / "all.zip", archive_texts(), rules)
    with zipfile.ZipFile(tmp_path / "all.zip") as file:
        assert not [name for name in file.namelist() if "/." in name]
        assert "it ends before entry" in " ".join(file.read("history.txt").decode().split())


def test_pages_made_again_from_days_nobody_had_seen_are_a_look(folder, tmp_path, rules):
    copy = shutil.copytree(folder, tmp_path / "copy")
    for path in copy.glob("*.csv"):
        path.write_text(path.read_text("utf-8").replace("2026-", "2027-"), encoding="utf-8")
    for name in ("all.zip", "again.zip"):
        steps.export_everything(steps.read_client(copy), tmp_path / name, archive_texts(), rules)
        last = ledger.read(copy).events[-1]
        assert (last.event, last.payload["what"]) == ("looked", "days")
        with zipfile.ZipFile(tmp_path / name) as file:
            assert file.read("records/ledger.jsonl") == (copy / "ledger.jsonl").read_bytes()
    assert len(ledger.read(copy).events) == len(ledger.read(folder).events) + 1


def test_the_same_folder_gives_the_same_bytes_and_is_left_alone(folder, tmp_path, rules):
    before = {path: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    made = []
    for place, day in (("a", 0), ("b", 400)):
        copy = tmp_path / place / "moved"
        shutil.copytree(folder, copy)
        for path in copy.iterdir():
            when = (AT + timedelta(days=day)).timestamp()
            os.utime(path, (when, when))
        steps.export_everything(
            steps.read_client(copy), tmp_path / f"{place}.zip", archive_texts(), rules
        )
        made.append((tmp_path / f"{place}.zip").read_bytes())
    assert made[0] == made[1]
    assert {path: path.read_bytes() for path in folder.iterdir() if path.is_file()} == before
    assert len(zipfile.ZipFile(io.BytesIO(made[0])).namelist()) > 8


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("all.tar", "not the name of an archive"),
        ("there.zip", "something of that name already"),
        ("client-01/mine.zip", "in the client's own folder"),
        ("nowhere/mine.zip", "no such folder"),
    ],
)
def test_a_place_that_will_not_do_is_told(folder, name, told):
    home = folder.parent
    (home / "there.zip").write_bytes(b"mine")
    place = home / name.replace("client-01", folder.name)
    result = CliRunner().invoke(
        commands, ["export", str(folder), "--as", "everything", "--out", str(place)]
    )
    assert result.exit_code == 2
    assert told in result.stderr
    assert (home / "there.zip").read_bytes() == b"mine"


def test_nothing_asked_yet_is_told(tmp_path, rules):
    folder = page_clients.write_invented(tmp_path)
    names, _ = steps.export_everything(
        steps.read_client(folder), tmp_path / "all.zip", archive_texts(), rules
    )
    with zipfile.ZipFile(tmp_path / "all.zip") as file:
        assert "Nothing is written down yet" in file.read("history.txt").decode("utf-8")
        assert "No page is noted as shared." in file.read("README.txt").decode("utf-8")
    assert "records/ledger.jsonl" not in names


def test_a_disk_without_room_leaves_nothing_behind(folder, tmp_path, rules, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    client = steps.read_client(folder)
    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        steps.export_everything(client, tmp_path / "all.zip", archive_texts(), rules)
    assert list(tmp_path.iterdir()) == []
