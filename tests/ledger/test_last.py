"""Entries gone from the end of a ledger, the whole of it gone, and a clock set back."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from miner import ledger
from miner.ledger.line import write_line

AT = datetime(2026, 3, 1, 8, tzinfo=UTC)


def add(folder: Path, *values: int) -> None:
    for value in values:
        ledger.append(folder, "tried", {"value": value}, AT + timedelta(minutes=value))


def lines(folder: Path) -> list[bytes]:
    return (folder / ledger.NAME).read_bytes().splitlines(keepends=True)


def put(folder: Path, kept: list[bytes]) -> None:
    (folder / ledger.NAME).write_bytes(b"".join(kept))


def told(folder: Path) -> list[tuple[str, int | None]]:
    return [(str(item.severity), item.row) for item in ledger.read(folder).problems]


@pytest.mark.parametrize("kept", range(5))
def test_entries_cut_from_the_end_are_told_then_and_ever_after(tmp_path: Path, kept: int) -> None:
    add(tmp_path, *range(5))
    put(tmp_path, lines(tmp_path)[:kept])
    assert told(tmp_path) == [("question", kept or None)]
    add(tmp_path, 5)
    for value in (6, 7):
        assert told(tmp_path) == [("question", kept + 1)]
        add(tmp_path, value)
    book = ledger.read(tmp_path)
    assert book.trusted
    assert "entries up to 5 had been written" in book.problems[0].what
    assert ledger.named(book, "recovered")[0].payload["missing"]["n"] == 5


def test_a_ledger_that_was_removed_is_told(tmp_path: Path) -> None:
    add(tmp_path, 0, 1)
    (tmp_path / ledger.NAME).unlink()
    (problem,) = ledger.read(tmp_path).problems
    assert (problem.row, problem.what) == (None, "it is missing or empty")
    assert "copy of the folder" in problem.do


def test_a_last_entry_written_anew_with_its_check_is_told(tmp_path: Path) -> None:
    add(tmp_path, 0, 1, 2)
    old = json.loads(lines(tmp_path)[2])
    put(tmp_path, [*lines(tmp_path)[:2],
                   write_line(3, old["at"], "tried", {"value": 9}, old["previous"])])  # fmt: skip
    assert told(tmp_path) == [("question", 3)]


def test_an_edited_last_entry_is_told_once(tmp_path: Path) -> None:
    add(tmp_path, 0, 1, 2)
    put(tmp_path, [*lines(tmp_path)[:2], lines(tmp_path)[2].replace(b'"value": 2', b'"value": 3')])
    assert told(tmp_path) == [("question", 3)]


@pytest.mark.parametrize("kept", [0, 9, 11])
@pytest.mark.parametrize("end", [b'{"x', b"\x00\xff\x17 no line\n\x00", b'{"schema": 1, "n": 1'])
def test_entries_lost_before_a_line_that_cannot_be_read_are_told(
    tmp_path: Path, kept: int, end: bytes
) -> None:
    add(tmp_path, *range(12))
    put(tmp_path, [*lines(tmp_path)[:kept], end])
    found = ledger.read(tmp_path).problems
    assert (found[0].row, len(found)) == (kept + 1, 2)
    assert "the last line is not finished" in found[0].what
    assert found[1].what == "it ends before entry 12, which was written"
    assert not any("Nothing before it is lost" in item.do for item in found)
    add(tmp_path, 12)
    (missing,) = ledger.named(ledger.read(tmp_path), "recovered")
    assert missing.payload["missing"]["n"] == 12
    assert any("up to 12 had been" in item.what for item in ledger.read(tmp_path).problems)


def test_a_last_entry_cut_short_after_it_was_noted_is_the_only_one_lost(tmp_path: Path) -> None:
    add(tmp_path, *range(12))
    put(tmp_path, [*lines(tmp_path)[:11], lines(tmp_path)[11][:40]])
    (problem,) = ledger.read(tmp_path).problems
    assert problem.do.startswith("Nothing before it is lost.")
    add(tmp_path, 12)
    (torn,) = ledger.named(ledger.read(tmp_path), "recovered")
    assert "missing" not in torn.payload


def test_last_lines_and_the_note_removed_together_are_told_then_and_ever_after(
    tmp_path: Path,
) -> None:
    add(tmp_path, 0, 1, 2)
    (tmp_path / ".ledger.last").unlink()
    put(tmp_path, lines(tmp_path)[:1])
    assert told(tmp_path) == [("question", None)]
    add(tmp_path, 3, 4)
    assert told(tmp_path) == [("question", 2)]
    assert [item.payload for item in ledger.named(ledger.read(tmp_path), "recovered")] == [
        {"unnoted": True}
    ]


def test_a_writer_killed_before_it_noted_its_first_line_is_not_told(tmp_path: Path) -> None:
    """The note is written as number 0 before that line is."""
    add(tmp_path, 0)
    note = {"n": 0, "check": "", "first": ""}
    (tmp_path / ".ledger.last").write_text(json.dumps(note))
    assert told(tmp_path) == []
    (tmp_path / "ledger.jsonl").unlink()
    assert told(tmp_path) == []


def test_a_question_dated_back_where_the_note_was_gone_is_lost(tmp_path: Path) -> None:
    add(tmp_path, 0, 1)
    (tmp_path / ".ledger.last").unlink()
    payload = {"factor": "short_sleep", "outcome": "wake_glucose", "proven": False}
    ledger.append(tmp_path, "fixed", payload, AT)
    assert [item.lost for item in ledger.questions(ledger.read(tmp_path))] == [True]


def test_another_ledger_in_place_of_this_one_proves_nothing_then_and_ever_after(
    tmp_path: Path,
) -> None:
    own, other = tmp_path / "own", tmp_path / "other"
    own.mkdir()
    other.mkdir()
    add(own, 0)
    payload = {"factor": "short_sleep", "outcome": "wake_glucose", "proven": True}
    ledger.append(other, "fixed", payload, AT)
    put(own, lines(other))
    assert [f.what.partition(",")[0] for f in ledger.read(own).problems] == [
        "this is not the ledger that was written in this folder"
    ]
    assert [item.proven for item in ledger.questions(ledger.read(own))] == [False]
    add(own, 1)
    assert ("question", 1) in told(own)
    assert [item.proven for item in ledger.questions(ledger.read(own))] == [False]


@pytest.mark.parametrize(
    "text", [b"", b"{}", b'{"n": "5", "check": "x"}', b'{"n": 5}', b"[5]", b"\xff\xfe", b"[" * 5000]
)
def test_a_note_that_cannot_be_read_is_no_note(tmp_path: Path, text: bytes) -> None:
    add(tmp_path, 0)
    (tmp_path / ".ledger.last").write_bytes(text)
    assert told(tmp_path) == [("question", None)]
    add(tmp_path, 1)
    assert json.loads((tmp_path / ".ledger.last").read_text())["n"] == 3
    assert told(tmp_path) == [("question", 2)]


def test_a_note_older_than_the_ledger_holds_of_it(tmp_path: Path) -> None:
    """The program may end between the line and the note."""
    add(tmp_path, 0, 1)
    older = (tmp_path / ".ledger.last").read_bytes()
    add(tmp_path, 2)
    (tmp_path / ".ledger.last").write_bytes(older)
    assert told(tmp_path) == []


@pytest.mark.parametrize(
    ("back", "noted"), [(timedelta(milliseconds=1), []), (timedelta(seconds=10), []),
                        (timedelta(minutes=2), [("note", 2)])],
)  # fmt: skip
def test_of_two_writers_at_once_the_later_may_come_first(
    tmp_path: Path, back: timedelta, noted: list[tuple[str, int]]
) -> None:
    add(tmp_path, 0)
    ledger.append(tmp_path, "tried", {"value": 1}, AT - back)
    assert told(tmp_path) == noted


def test_a_note_that_cannot_be_written_loses_no_entry(tmp_path: Path) -> None:
    (tmp_path / ".ledger.last").mkdir()
    (tmp_path / ".ledger.last" / "x").write_text("")
    add(tmp_path, 0, 1, 2)
    assert [e.event for e in ledger.read(tmp_path).events].count("tried") == 3
    assert told(tmp_path) == [("question", 2), ("question", None)]
    assert not list(tmp_path.glob(".ledger.last.*"))


def test_bytes_that_are_no_entry_are_told_ever_after(tmp_path: Path) -> None:
    add(tmp_path, 0)
    put(tmp_path, [*lines(tmp_path), b"\x00\x17 not a line\n"])
    add(tmp_path, 1, 2)
    (problem,) = ledger.read(tmp_path).problems
    assert (str(problem.severity), problem.row) == ("question", 2)
    assert problem.what == "the line was not written by miner, so it is kept but not used"


@pytest.mark.parametrize(
    ("back", "severity", "proven"),
    [(timedelta(hours=23), "note", True), (timedelta(days=3), "question", False)],
)
def test_a_question_fixed_under_a_clock_set_back_is_not_proven(
    tmp_path: Path, back: timedelta, severity: str, proven: bool
) -> None:
    add(tmp_path, 0)
    payload = {"factor": "short_sleep", "outcome": "wake_glucose", "proven": True}
    ledger.append(tmp_path, "tried", {"value": 0}, AT - back)
    ledger.append(tmp_path, "fixed", payload, AT - back + timedelta(minutes=1))
    assert told(tmp_path)[0] == (severity, 2)
    (question,) = ledger.questions(ledger.read(tmp_path))
    assert question.proven is proven


def test_a_note_that_cannot_be_written_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(tmp_path, 0)
    before = sorted(path.name for path in tmp_path.iterdir())
    older = (tmp_path / ".ledger.last").read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", full)
        add(tmp_path, 1)
    assert (tmp_path / ".ledger.last").read_bytes() == older
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    assert told(tmp_path) == []
    add(tmp_path, 2)
    assert [e.payload["value"] for e in ledger.read(tmp_path).events] == [0, 1, 2]
