import errno
import hashlib
import importlib.util
import json
import multiprocessing
import os
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from miner import ledger
from miner.core.messages import MinerError

AT = datetime(2026, 3, 1, 8, tzinfo=timezone(timedelta(hours=1)))
ROOT = Path(__file__).parents[2]


def write(folder, count=5, start=0):
    return [
        ledger.append(folder, "tried", {"value": i, "text": f"no. {i}"}, AT + timedelta(minutes=i))
        for i in range(start, start + count)
    ]


def file(folder):
    return folder / "ledger.jsonl"


def values(book):
    return [event.payload["value"] for event in ledger.named(book, "tried")]


def texts(book):
    return [finding.what for finding in book.problems]


def test_no_ledger_is_an_empty_one(tmp_path):
    book = ledger.read(tmp_path)
    assert (book.events, book.problems, book.writable, book.trusted) == ((), (), True, True)
    assert not file(tmp_path).exists()


def test_a_line_is_what_the_contract_says(tmp_path):
    # sha256 of the canonical JSON, computed here from the text of the file alone.
    write(tmp_path, 3)
    previous = ""
    for n, line in enumerate(file(tmp_path).read_text(encoding="utf-8").splitlines(), 1):
        record = json.loads(line)
        assert list(record)[:4] == ["schema", "n", "at", "event"]
        assert list(record)[-2:] == ["previous", "check"]
        assert (record["schema"], record["n"], record["previous"]) == (1, n, previous)
        check = record.pop("check")
        text = json.dumps(record, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        assert check == hashlib.sha256(text.encode()).hexdigest()
        previous = check
    assert json.loads(line)["at"] == "2026-03-01T08:02:00+01:00"


def test_what_append_returns_is_what_is_read(tmp_path):
    written = write(tmp_path)
    book = ledger.read(tmp_path)
    assert list(book.events) == written
    assert book.problems == ()


@pytest.mark.parametrize(
    "payload",
    [
        {"text": 'Frühstück \u2028 \x00 \\ " \n \r\n 早餐 🍞'},
        {"text": os.fsdecode(b"caf\xe9.csv")},
        {"nested": {"list": [1, 2.5, None, True, {"a": []}], "tiny": 5e-324, "big": 2**80}},
        {"": "an empty name"},
        {"text": "x" * 3_000_000},
    ],
    ids=["unicode", "undecodable file name", "nested", "empty name", "very large"],
)
def test_any_payload_comes_back(tmp_path, payload):
    write(tmp_path, 1)
    ledger.append(tmp_path, "kept", payload, AT)
    write(tmp_path, 1)
    book = ledger.read(tmp_path)
    assert ledger.named(book, "kept")[0].payload == payload
    assert [p for p in book.problems if "dated" not in p.what] == []


def test_undefined_becomes_null_and_dates_become_text(tmp_path):
    ledger.append(tmp_path, "kept", {"p": float("nan"), "day": AT.date(), "pair": (1, 2)}, AT)
    assert ledger.read(tmp_path).events[0].payload == {
        "p": None,
        "day": "2026-03-01",
        "pair": [1, 2],
    }


@pytest.mark.parametrize("name", ["schema", "n", "at", "event", "previous", "check"])
def test_the_names_of_the_line_are_taken(tmp_path, name):
    with pytest.raises(ValueError, match=name):
        ledger.append(tmp_path, "kept", {name: 1}, AT)
    assert not file(tmp_path).exists()


def test_a_time_without_a_zone_is_refused(tmp_path):
    with pytest.raises(ValueError, match="zone"):
        ledger.append(tmp_path, "kept", {}, AT.replace(tzinfo=None))


def test_a_clock_set_back_is_told_and_breaks_nothing(tmp_path):
    write(tmp_path, 2)
    ledger.append(tmp_path, "tried", {"value": 9}, AT - timedelta(days=1))
    ledger.append(tmp_path, "tried", {"value": 10}, AT.astimezone(UTC))
    book = ledger.read(tmp_path)
    assert [e.n for e in book.events] == [1, 2, 3, 4]
    assert book.trusted
    assert [(f.severity, f.row) for f in book.problems] == [("question", 3)]


def test_a_line_torn_at_any_byte_loses_nothing_before_it(tmp_path):
    write(tmp_path, 2)
    note = (tmp_path / ".ledger.last").read_bytes()
    write(tmp_path, 1, start=2)
    whole = file(tmp_path).read_bytes()
    start = whole.rstrip(b"\n").rfind(b"\n") + 1
    for cut in range(start + 1, len(whole)):
        file(tmp_path).write_bytes(whole[:cut])
        (tmp_path / ".ledger.last").write_bytes(note)
        complete = cut == len(whole) - 1
        book = ledger.read(tmp_path)
        assert values(book) == ([0, 1, 2] if complete else [0, 1])
        assert book.trusted
        assert len(book.problems) == (0 if complete else 1)
        write(tmp_path, 1, start=3)
        assert file(tmp_path).read_bytes().startswith(whole[:cut])
        book = ledger.read(tmp_path)
        assert values(book) == ([0, 1, 2, 3] if complete else [0, 1, 3])
        assert [e.n for e in book.events] == [1, 2, 3, 4]
        assert book.trusted
        if not complete:
            kept = ledger.named(book, "recovered")[0].payload["torn"][0]
            assert (kept["bytes"], kept["begins"]) == (
                cut - start,
                whole[start:cut].decode()[:200],
            )
            assert [(f.severity, f.row) for f in book.problems] == [("note", 3)]


def test_a_first_line_torn_and_a_recovery_torn_again(tmp_path):
    file(tmp_path).write_bytes(b'{"schema": 1, "n"')
    write(tmp_path, 1)
    lines = file(tmp_path).read_bytes().splitlines(keepends=True)
    file(tmp_path).write_bytes(lines[0] + lines[1][:40])
    (tmp_path / ".ledger.last").unlink()
    write(tmp_path, 2)
    book = ledger.read(tmp_path)
    assert values(book) == [0, 1]
    assert book.trusted
    assert [(f.row, f.count) for f in book.problems] == [(1, 2)]


def test_any_edited_byte_is_told(tmp_path):
    write(tmp_path, 6)
    whole = file(tmp_path).read_bytes()
    chance = np.random.default_rng(1)
    for place in chance.choice(len(whole), 400, replace=False):
        byte = (whole[place] + int(chance.integers(1, 256))) % 256
        file(tmp_path).write_bytes(whole[:place] + bytes([byte]) + whole[place + 1 :])
        book = ledger.read(tmp_path)
        row = whole[:place].count(b"\n") + 1
        assert book.problems, (place, byte)
        assert book.problems[0].row == row
        assert all(event.trusted == (event.row < row) for event in book.events)
        assert len(book.events) >= row - 1


def test_an_edit_that_keeps_the_meaning_of_the_json_is_told(tmp_path):
    write(tmp_path, 3)
    text = file(tmp_path).read_text()
    file(tmp_path).write_text(text.replace('"n": 2', '"n":  2'))
    assert [f.row for f in ledger.read(tmp_path).problems] == [2]


def test_an_edit_with_its_check_made_new_is_told_by_the_next_line(tmp_path):
    from miner.ledger.line import write_line

    write(tmp_path, 3)
    lines = file(tmp_path).read_bytes().splitlines(keepends=True)
    old = json.loads(lines[1])
    lines[1] = write_line(2, old["at"], "tried", {"value": 77}, old["previous"])
    file(tmp_path).write_bytes(b"".join(lines))
    book = ledger.read(tmp_path)
    assert [(f.row, f.what) for f in book.problems] == [
        (3, "entry 3 does not follow the line before it")
    ]
    assert [e.trusted for e in book.events] == [True, True, False]


@pytest.mark.parametrize("first", range(4))
@pytest.mark.parametrize("count", [1, 2])
def test_lost_lines_are_told(tmp_path, first, count):
    write(tmp_path, 6)
    lines = file(tmp_path).read_bytes().splitlines(keepends=True)
    del lines[first : first + count]
    file(tmp_path).write_bytes(b"".join(lines))
    book = ledger.read(tmp_path)
    assert [(f.severity, f.row) for f in book.problems] == [("question", first + 1)]
    assert "missing" in book.problems[0].what
    assert str(first + 1) in book.problems[0].what
    assert [e.trusted for e in book.events] == [True] * first + [False] * (6 - first - count)


def test_swapped_and_repeated_lines_are_told(tmp_path):
    write(tmp_path, 4)
    lines = file(tmp_path).read_bytes().splitlines(keepends=True)
    for order in ([0, 2, 1, 3], [1, 0, 2, 3], [0, 1, 1, 2, 3], [0, 1, 2, 3, 0]):
        file(tmp_path).write_bytes(b"".join(lines[i] for i in order))
        book = ledger.read(tmp_path)
        assert len(book.events) == len(order)
        assert any(f.severity == "question" for f in book.problems), order
        assert not book.trusted


def test_junk_between_lines_is_told(tmp_path):
    write(tmp_path, 3)
    lines = file(tmp_path).read_bytes().splitlines(keepends=True)
    for junk in (b"\n", b"note to self\n", b"[1, 2]\n", b'{"schema": 1}\n', b"\xff\n", b"[" * 9999):
        file(tmp_path).write_bytes(lines[0] + junk.rstrip(b"\n") + b"\n" + b"".join(lines[1:]))
        book = ledger.read(tmp_path)
        assert values(book) == [0, 1, 2]
        assert [(f.severity, f.row) for f in book.problems] == [("question", 2)]
        assert [e.trusted for e in book.events] == [True, False, False]


def test_what_is_added_after_a_break_is_kept_and_not_trusted(tmp_path):
    write(tmp_path, 3)
    file(tmp_path).write_bytes(file(tmp_path).read_bytes().replace(b"no. 1", b"no. 7"))
    before = file(tmp_path).read_bytes()
    write(tmp_path, 2, start=3)
    book = ledger.read(tmp_path)
    assert file(tmp_path).read_bytes().startswith(before)
    assert values(book) == [0, 1, 2, 3, 4]
    assert [f.row for f in book.problems] == [2]
    assert [e.trusted for e in book.events] == [True, False, False, False, False]


def test_a_newer_schema_is_read_up_to_there_and_never_added_to(tmp_path):
    write(tmp_path, 2)
    with file(tmp_path).open("a") as stream:
        stream.write('{"schema": 2, "something": "else"}\n')
    before = file(tmp_path).read_bytes()
    book = ledger.read(tmp_path)
    assert values(book) == [0, 1]
    assert "newer" in book.problems[0].what
    assert not book.writable
    with pytest.raises(ledger.LedgerUnwritable, match="newer"):
        write(tmp_path, 1)
    assert file(tmp_path).read_bytes() == before


def test_a_missing_folder_is_told_and_not_made(tmp_path):
    with pytest.raises(ledger.LedgerUnwritable, match="no such folder"):
        write(tmp_path / "nobody", 1)
    assert not (tmp_path / "nobody").exists()


def test_a_ledger_that_is_a_folder_is_told(tmp_path):
    file(tmp_path).mkdir()
    with pytest.raises(MinerError, match=r"this is a folder.*Move it somewhere else"):
        ledger.read(tmp_path)
    with pytest.raises(MinerError, match="this is a folder"):
        write(tmp_path, 1)


@pytest.fixture
def unprivileged():
    if os.name != "posix":
        pytest.skip("file rights of another kind")
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    yield
    os.seteuid(0)


@pytest.fixture
def open_folder():
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)
        Path(name).chmod(0o755)


@pytest.mark.parametrize("had", [0, 2], ids=["no ledger yet", "with a ledger"])
def test_a_read_only_folder_is_told(open_folder, had, unprivileged):
    effective = os.geteuid()
    if effective == 65534:
        os.seteuid(0)
    write(open_folder, had)
    for item in open_folder.iterdir():
        item.chmod(0o444)
    open_folder.chmod(0o555)
    os.seteuid(effective)
    book = ledger.read(open_folder)
    assert len(book.events) == had
    assert not book.writable
    with pytest.raises(ledger.LedgerUnwritable, match="cannot be written"):
        write(open_folder, 1)


@pytest.mark.parametrize("room", [0, 1, 150])
def test_a_full_disk_is_told_and_loses_nothing(tmp_path, monkeypatch, room):
    write(tmp_path, 2)
    before = file(tmp_path).read_bytes()
    whole, left = os.write, [room]

    def short(target, data):
        if left[0] == 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        done = whole(target, bytes(data[: left[0]]))
        left[0] -= done
        return done

    with monkeypatch.context() as patch:
        patch.setattr("miner.core.files.os.write", short)
        with pytest.raises(ledger.LedgerUnwritable, match="No space left"):
            write(tmp_path, 1, start=2)
    assert file(tmp_path).read_bytes()[: len(before)] == before
    assert len(file(tmp_path).read_bytes()) == len(before) + room
    write(tmp_path, 1, start=2)
    book = ledger.read(tmp_path)
    assert values(book) == [0, 1, 2]
    assert book.trusted
    assert len(ledger.named(book, "recovered")) == (1 if room else 0)


def test_a_short_write_is_finished(tmp_path, monkeypatch):
    whole = os.write
    monkeypatch.setattr(
        "miner.core.files.os.write", lambda target, data: whole(target, bytes(data[:3]))
    )
    write(tmp_path, 2)
    assert values(ledger.read(tmp_path)) == [0, 1]
    assert ledger.read(tmp_path).problems == ()


def test_a_line_is_one_write_and_is_flushed_with_its_folder(tmp_path, monkeypatch):
    calls = []
    whole, flush = os.write, os.fsync

    def writes(target, data):
        calls.append("write")
        return whole(target, data)

    def flushes(target):
        calls.append("folder" if Path(f"/proc/self/fd/{target}").is_dir() else "file")
        flush(target)

    if not Path("/proc/self/fd").is_dir():
        pytest.skip("needs /proc")
    monkeypatch.setattr("miner.core.files.os.write", writes)
    monkeypatch.setattr("miner.core.files.os.fsync", flushes)
    write(tmp_path, 2)
    assert calls == ["write", "file", "folder", "write", "file"]


def test_a_held_lock_is_waited_for_and_then_told(tmp_path):
    from filelock import FileLock

    write(tmp_path, 1)
    with (
        FileLock(tmp_path / ".ledger.lock"),
        pytest.raises(ledger.LedgerUnwritable, match="another program"),
    ):
        ledger.append(tmp_path, "tried", {"value": 1}, AT, wait_s=0.05)
    assert values(ledger.read(tmp_path)) == [0]


WRITER = """
import sys
from datetime import datetime, timezone
from pathlib import Path
from miner import ledger
for i in range(40):
    ledger.append(Path(sys.argv[1]), "tried", {"value": f"{sys.argv[2]}-{i}"},
                  datetime(2026, 3, 1, tzinfo=timezone.utc))
"""


def test_two_processes_at_once_lose_nothing(tmp_path):
    runs = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path), name], cwd=ROOT)
        for name in "ab"
    ]
    assert [run.wait() for run in runs] == [0, 0]
    book = ledger.read(tmp_path)
    assert book.problems == ()
    assert [e.n for e in book.events] == list(range(1, 81))
    for name in "ab":
        own = [v for v in values(book) if v.startswith(name)]
        assert own == [f"{name}-{i}" for i in range(40)]


@pytest.fixture(scope="module")
def torture():
    if "fork" not in multiprocessing.get_all_start_methods():
        pytest.skip("needs fork")
    path = ROOT / "benchmarks" / "ledger_torture.py"
    spec = importlib.util.spec_from_file_location("ledger_torture", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["ledger_torture"] = module
    spec.loader.exec_module(module)
    return module


def test_killed_while_keeping_and_reading_nothing_reported_is_lost(tmp_path, torture):
    tally = torture.torture(tmp_path, rounds=60, seed=2)
    assert min(tally.reported, tally.torn, tally.kept, tally.verdicts) > 0
    assert (tally.lost, tally.out_of_order, tally.broken, tally.second_verdicts) == (0, 0, 0, 0)


@pytest.mark.prove
def test_killed_a_thousand_times_nothing_reported_is_lost(tmp_path, torture):
    tally = torture.torture(tmp_path, rounds=1000, seed=0)
    assert tally.held
    assert tally.reported > 0


def test_two_that_keep_at_once_lose_nothing(tmp_path, torture):
    assert torture.together(tmp_path, times=30) == 0


@pytest.fixture
def disk(tmp_path, torture):
    place = tmp_path / "disk"
    place.mkdir()
    try:
        with torture.small_disk(place):
            yield place
    except OSError as error:
        pytest.skip(str(error))


def test_a_disk_that_fills_up_and_has_room_again(disk, torture):
    entries, told = torture.full_disk(disk)
    assert entries > 5
    assert "No space left on device" in told
    assert "Check the folder and the disk" in told


def test_a_disk_that_is_read_only(disk, torture):
    assert "Read-only file system" in torture.read_only(disk)


def test_questions_are_the_first_of_each_and_proven_only_while_trusted(tmp_path):
    fixed = [
        {"factor": "short_sleep", "outcome": "wake_glucose", "guess": "up", "proven": True},
        {"factor": "late_dinner", "outcome": "day_mean", "fixed_on": "2026-02-01"},
        {"factor": "short_sleep", "outcome": "wake_glucose", "guess": "down", "proven": True},
        {"factor": "few_steps", "outcome": "day_mean", "guess": None, "proven": True},
    ]
    for item in fixed:
        ledger.append(tmp_path, "fixed", item, AT)
    found = ledger.questions(ledger.read(tmp_path))
    assert [(q.factor, q.guess, q.fixed_on, q.proven, q.n) for q in found] == [
        ("short_sleep", "up", "2026-03-01", True, 1),
        ("late_dinner", None, "2026-02-01", False, 2),
        ("few_steps", None, "2026-03-01", True, 4),
    ]
    file(tmp_path).write_bytes(file(tmp_path).read_bytes().replace(b"2026-02-01", b"2026-01-01"))
    assert [q.proven for q in ledger.questions(ledger.read(tmp_path))] == [True, False, False]


@pytest.mark.parametrize("told", ["5 Jan 2026", "0", 7, ["2026-01-05"], "2026-02-30"])
def test_a_question_fixed_on_no_date_counts_from_its_entry(tmp_path, told):
    ledger.append(tmp_path, "fixed", {"factor": "a", "outcome": "b", "fixed_on": told}, AT)
    assert ledger.questions(ledger.read(tmp_path))[0].fixed_on == "2026-03-01"
    text = file(tmp_path).read_text().replace('"at": "2026-03-01T', '"at": "T')
    file(tmp_path).write_text(text)
    assert ledger.questions(ledger.read(tmp_path))[0].fixed_on > "9999-12"


def test_rankings_are_counted_by_what_was_chosen_and_the_days_they_saw(tmp_path):
    base = {
        "records_hash": "r1",
        "rules_hash": "a",
        "settings_hash": "s",
        "seed": 0,
        "draws": 10000,
        "unit": "day",
        "first": "2026-01-01",
        "last": "2026-01-31",
        "left_out_hash": "none",
        "last_day": "2026-01-31",
    }
    other = [
        {"rules_hash": "b"},
        {"settings_hash": "t"},
        {"seed": 1},
        {"draws": 500},
        {"unit": "meal"},
        {"first": "2026-01-02"},
        {"last": None},
        {"left_out_hash": "x"},
    ]
    grown = {"records_hash": "r2", "last_day": "2026-02-10"}
    for change in [{}, *other, {}, grown, {"extra": 1}]:
        ledger.append(tmp_path, "ranked", base | change, AT)
    book = ledger.read(tmp_path)
    assert [e.n for e in ledger.rankings(book, "2026-01-01")] == [*range(1, 10), 11]
    assert [e.n for e in ledger.rankings(book, "2026-01-31")] == [*range(1, 10), 11]
    assert [e.n for e in ledger.rankings(book, "2026-02-01")] == [11]
    assert ledger.rankings(book, "2026-02-11") == ()


def test_a_ledger_becomes_plain_values(tmp_path):
    write(tmp_path, 1)
    plain = ledger.read(tmp_path).to_dict()
    assert plain["events"][0]["payload"] == {"value": 0, "text": "no. 0"}
    json.dumps(plain)
