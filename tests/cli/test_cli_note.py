"""What a practitioner notes: the common things in one command each, and how to take them back."""

from __future__ import annotations

import hashlib
import json
import os
import re
from pathlib import Path
from typing import Any

import pytest

from miner.records import read_client
from miner.records.write.notes import NAME as NOTES
from miner.records.write.notes import read_notes

MEALS = "time,label,carbs_g\n2026-03-02T08:00,porridge,40\n2026-03-02T13:06,pasta,700\n"


@pytest.fixture
def client(tmp_path: Path) -> Path:
    """Three days of readings, two meals (one of 700 g) and a tag on the first."""
    folder = tmp_path / "practice" / "client-01"
    folder.mkdir(parents=True)
    rows = [
        f"2026-03-{day:02d}T{hour:02d}:{minute:02d},{100 + hour + (hour == day)}"
        for day in (2, 3, 4) for hour in range(24) for minute in range(0, 60, 5)
    ]  # fmt: skip
    (folder / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]) + "\n")
    (folder / "meals.csv").write_text(MEALS)
    (folder / "tags.csv").write_text("time,tag\n2026-03-02T21:00,wine\n")
    return folder


def done(result: Any) -> str:
    assert result.exit_code == 0, result.output
    return " ".join(result.stdout.split())


def refused(result: Any) -> str:
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    return " ".join(result.stderr.split())


def test_a_missing_dinner_is_one_command(run: Any, client: Path) -> None:
    said = done(
        run("note", str(client), "--meal", "pasta", "--at", "2026-03-03 19:30", "--carbs", "70",
            "--kind", "dinner")
    )  # fmt: skip
    assert "The meal is added: corrections.csv, row 2." in said
    assert "3 March 2026, 19:30: pasta, dinner, 70 g carbohydrate" in said
    assert "It is read as dinner of 3 March 2026." in said
    assert f"To take it back: miner note {client} --undo 2" in said
    last = read_client(client).used("meals").iloc[-1]
    assert (last["label"], last["meal"], last["carbs_g"]) == ("pasta", "dinner", 70)


def test_wrong_grams_are_one_command(run: Any, client: Path) -> None:
    said = done(run("note", str(client), "--mend", "2026-03-02 13:06", "--carbs", "70"))
    assert "Before: 2 March 2026, 13:06: pasta, 700 g carbohydrate (meals.csv, row 3)" in said
    assert "Now: 2 March 2026, 13:06: pasta, 70 g carbohydrate" in said
    assert (client / "meals.csv").read_text() == MEALS


def test_a_missing_tag_is_one_command(run: Any, client: Path) -> None:
    said = done(run("note", str(client), "--tag", "Wine", "--at", "2026-03-03"))
    assert "3 March 2026, 12:00: Wine" in said
    assert "It is read as the tag 'wine' of 3 March 2026. It is on 2 days now." in said
    assert "It is looked at as a habit from 3 days on." in said
    said = done(run("note", str(client), "--tag", "metformin 500", "--at", "2026-03-03"))
    assert "It names a medicine, so it is never counted as a habit." in said


def test_grams_give_way_to_a_level_and_to_unknown(run: Any, client: Path) -> None:
    where, out = str(client), ["--format", "json"]
    mend = ["note", where, "--mend", "2026-03-02 13:06", *out, "--carbs"]
    assert json.loads(run(*mend, "high").stdout)["now"]["carbs_level"] == "high"
    assert "carbs_g" not in json.loads(run(*mend, "low").stdout)["now"]
    assert json.loads(run(*mend, "62.5 g").stdout)["now"]["carbs_g"] == "62.5"
    found = json.loads(run(*mend, "unknown").stdout)["now"]
    assert found == {"time": "2026-03-02T13:06", "label": "pasta"}


def test_everything_is_taken_back_step_by_step(run: Any, client: Path) -> None:
    where = str(client)
    before = read_client(client)
    done(run("note", where, "--mend", "2026-03-02 13:06", "--carbs", "70"))
    done(run("note", where, "--remove", "2026-03-02 08:00"))
    done(run("note", where, "--tag", "late", "--at", "2026-03-03"))
    assert "It said: 3 March 2026, 12:00: late" in done(run("note", where, "--undo"))
    assert "porridge" in done(run("note", where, "--undo"))
    assert "The correction is taken back" in done(run("note", where, "--undo", "2"))
    assert "nothing to take back" in refused(run("note", where, "--undo"))
    assert "row 2 is not a correction in force" in refused(run("note", where, "--undo", "2"))
    after = read_client(client)
    assert after.records_hash == before.records_hash
    for stream in ("meals", "tags"):
        assert after.streams[stream].equals(before.streams[stream])


WORDS = "A wedding.  Two spaces, run again;\n\n> quoted\n## Day 2026-03-09\n=cmd|x\tä\u202e "


def test_a_note_is_read_back_to_the_letter_and_shown(run: Any, client: Path) -> None:
    where = str(client)
    before = read_client(client).records_hash
    said = run("note", where, "--day", "2026-03-03", WORDS)
    assert "Noted, in notes.md: 3 March 2026." in done(said)
    done(run("note", where, "--session", "2026-03-20", "Talked about dinner."))
    assert [note.text for note in read_notes(client)] == [WORDS, "Talked about dinner."]
    assert read_client(client).records_hash == before
    day = json.loads(run("day", where, "2026-03-03", "--format", "json").stdout)
    assert [note["text"] for note in day["notes"]] == [WORDS]
    other = json.loads(run("day", where, "2026-03-02", "--format", "json").stdout)
    assert other["notes"] == []
    assert "    A wedding.  Two spaces, run again;" in run("day", where, "2026-03-03").stdout
    told = run("history", where).stdout
    assert "    ## Day 2026-03-09" in told
    assert "The session of 20 March 2026, noted on" in told
    assert "is taken back" in done(run("note", where, "--undo"))
    assert [note.text for note in read_notes(client)] == [WORDS]


def test_notes_typed_into_the_file_are_read_and_stay(run: Any, client: Path) -> None:
    typed = (
        "\ufeffMy own head\r\n\r\n## Day 2026-03-03\r\nAte late.\r\n\r\nAnd slept badly.\r\n"
        "## Other\r\nnot a note\r\n"
    )
    (client / NOTES).write_bytes(typed.encode())
    done(run("note", str(client), "--day", "2026-03-04", "second"))
    assert [note.text for note in read_notes(client)] == [
        "Ate late.\n\nAnd slept badly.", "second",
    ]  # fmt: skip
    done(run("note", str(client), "--undo"))
    assert (client / NOTES).read_bytes() == typed.encode()


def test_without_a_word_it_lists_what_was_written(run: Any, client: Path) -> None:
    where = str(client)
    assert "0 corrections in force, 0 notes" in done(run("note", where))
    done(run("note", where, "--tag", "late", "--at", "2026-03-03"))
    done(run("note", where, "--undo"))
    done(run("note", where, "--mend", "meals.csv:3", "--meal", "rice"))
    done(run("note", where, "--day", "2026-03-03", "words"))
    said = done(run("note", where))
    assert "client-01: 1 correction in force, 1 note." in said
    assert "row 2: added: 3 March 2026, 12:00: late. No longer in force." in said
    assert "row 4: changed (meals.csv, row 3): 2 March 2026, 13:06: rice, 700 g" in said
    book = json.loads(run("note", where, "--format", "json").stdout)
    assert [item["action"] for item in book["corrections"]] == ["added", "taken_back", "mended"]
    assert [item["in_force"] for item in book["corrections"]] == [False, False, True]


def test_what_a_correction_replaced_is_shown_by_day(run: Any, client: Path) -> None:
    where = str(client)
    glucose = (client / "glucose.csv").read_text()
    for minute in range(0, 60, 5):  # a rise, so that what came before it is told
        glucose = glucose.replace(f"T14:{minute:02d},114", f"T14:{minute:02d},{130 + minute}")
    (client / "glucose.csv").write_text(glucose)
    done(run("note", where, "--mend", "2026-03-02 13:06", "--carbs", "70"))
    done(run("note", where, "--tag", "late", "--at", "2026-03-02 13:20"))
    said = done(run("day", where, "2026-03-02"))
    assert "13:06 pasta, 70 g carbohydrate (corrected: meals.csv, row 3)" in said
    assert "13:20 late (added by you)" in said
    lanes = json.loads(run("day", where, "2026-03-02", "--format", "json").stdout)["lanes"]
    place = {"file": "meals.csv", "row": 3, "replaces": None}
    assert [item["replaces"] for item in lanes if item["file"] == "corrections.csv"] == [
        place, None,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["--day", "2026-03-03"], "--day needs the words of the note"),
        (["words"], "The words 'words' belong to no option"),
        (["--day", "2026-03-03", "  "], "The note is empty"),
        (["--day", "2026-03-03", "a\x07b"], "a mark that is not text (U+0007)"),
        (["--day", "2026-03-03", "a\x00b"], "a mark that is not text (U+0000)"),
        (["--day", "2026-03-03", "a" * 5000], "5000 characters"),
        (["--day", "1026-03-03", "a"], "1026-03-03 is far off"),
        (["--day", "2026-03-03", "a", "--carbs", "5"], "--day and --carbs cannot"),
        (["--day", "2026-03-03", "--session", "2026-03-03", "a"], "--day and --session cannot"),
        (["--mend", "meals.csv:2", "--remove", "meals.csv:3"], "--mend and --remove cannot"),
        (["--meal", "x", "--tag", "y", "--at", "2026-03-03 12:00"], "--meal belongs to a meal"),
        (["--meal", "x", "--at", "2026-03-03 12:00", "--carbs", "7,5"], "'7,5'. Expected a"),
        (["--meal", "x", "--at", "2026-03-03 12:00", "--carbs", "-7"], "'-7'. Expected a"),
        (["--meal", "x", "--at", "2026-03-03 12:00", "--energy", "high"], "--energy is 'high'"),
        (["--carbs", "7"], "The date and the time are missing"),
        (["--undo", "practice"], "--undo is 'practice'"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_and_nothing_is_written(
    run: Any, client: Path, words: list[str], found: str
) -> None:
    assert found in refused(run("note", str(client), *words))
    left = {path.name for path in client.iterdir() if path.name[0] != "."}
    assert left == {"glucose.csv", "meals.csv", "tags.csv"}


def test_a_place_that_is_no_client_is_refused(run: Any, client: Path) -> None:
    assert "there is no such folder" in refused(run("note", str(client / "x")))
    (client.parent / "practice.toml").write_text("")
    assert "this is the folder of a practice" in refused(run("note", str(client.parent), "--undo"))


@pytest.mark.parametrize("name", ["corrections.csv", "notes.md"])
def test_a_linked_file_is_not_written_through(
    run: Any, client: Path, tmp_path: Path, name: str
) -> None:
    other = tmp_path / "other"
    other.write_text("theirs")
    (client / name).symlink_to(other)
    words = ["--day", "2026-03-03", "words"]
    if name == "corrections.csv":
        words = ["--tag", "late", "--at", "2026-03-03"]
    assert "this is a link" in refused(run("note", str(client), *words))
    assert other.read_text() == "theirs"


def test_files_are_their_owners_alone_and_raw_files_the_same(run: Any, client: Path) -> None:
    raw = {path: hashlib.sha256(path.read_bytes()).digest() for path in client.iterdir()}
    old = os.umask(0)
    try:
        done(run("note", str(client), "--tag", "late", "--at", "2026-03-03"))
        done(run("note", str(client), "--day", "2026-03-03", "words"))
    finally:
        os.umask(old)
    for name in ("corrections.csv", NOTES):
        assert (client / name).stat().st_mode & 0o777 == 0o600
    assert {path: hashlib.sha256(path.read_bytes()).digest() for path in raw} == raw


def test_notes_are_read_by_nothing_that_computes_or_that_a_client_sees() -> None:
    """Notes are for the practitioner's own screens; the archive has them in a file of their own."""
    home = Path(__file__).resolve().parents[2] / "miner"
    readers = {
        path.relative_to(home).as_posix()
        for path in home.rglob("*.py")
        if re.search(r"read_notes|records\.write\.notes", path.read_text("utf-8"))
    }
    assert readers == {
        "records/write/notes.py",
        "steps/pages.py",
        "steps/morning.py",
        "steps/noting.py",
        "steps/story.py",
    }


def test_an_amount_that_is_no_number_is_shown_as_it_stands(run: Any, client: Path) -> None:
    (client / "corrections.csv").write_text(
        "entered,stream,file,row,was,time,label,carbs_g\nnow,meals,,,,2026-03-03T12:00,soup,abc\n"
    )
    assert "soup, 'abc' g carbohydrate" in done(run("note", str(client)))
