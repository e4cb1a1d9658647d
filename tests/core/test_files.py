"""What is written is this account's alone, whole or not there, and never goes through a link."""

from __future__ import annotations

import os
import stat
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from miner.core import files
from miner.core.messages import MinerError

Write = Callable[[Path], None]


def piece_by_piece(path: Path) -> None:
    with files.whole_file(path) as file:
        file.write(b"ne")
        file.write(b"w")


WRITERS: dict[str, Write] = {
    "whole": lambda path: files.write_whole(path, b"new"),
    "text": lambda path: files.write_whole(path, "new", durable=False),
    "pieces": piece_by_piece,
    "append": lambda path: files.append(path, b"new"),
}
writers = pytest.mark.parametrize("write", WRITERS.values(), ids=WRITERS)


def names(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()]


def mode(path: Path) -> int:
    return stat.S_IMODE(path.lstat().st_mode)


@pytest.fixture
def umask() -> Iterator[Callable[[int], int]]:
    before = os.umask(0o022)
    yield os.umask
    os.umask(before)


@writers
@pytest.mark.parametrize("mask", [0, 0o022, 0o777])
def test_a_new_file_is_its_owner_s_alone(
    tmp_path: Path, umask: Callable[[int], int], write: Write, mask: int
) -> None:
    umask(mask)
    write(tmp_path / "notes.md")
    assert mode(tmp_path / "notes.md") == 0o600
    assert (tmp_path / "notes.md").read_bytes() == b"new"
    assert names(tmp_path) == ["notes.md"]


@writers
def test_an_older_file_becomes_its_owner_s_alone(tmp_path: Path, write: Write) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(b"")
    path.chmod(0o644)
    write(path)
    assert (mode(path), path.read_bytes()) == (0o600, b"new")


@pytest.mark.parametrize("mask", [0, 0o022, 0o777])
def test_new_folders_are_their_owner_s_alone_and_others_stay(
    tmp_path: Path, umask: Callable[[int], int], mask: int
) -> None:
    tmp_path.chmod(0o755)
    umask(mask)
    files.make_folder(tmp_path / "a" / "b")
    assert [mode(tmp_path / name) for name in (".", "a", "a/b")] == [0o755, 0o700, 0o700]
    (tmp_path / "a").chmod(0o750)
    files.make_folder(tmp_path / "a")
    assert mode(tmp_path / "a") == 0o750


def test_a_lock_is_its_owner_s_alone(tmp_path: Path, umask: Callable[[int], int]) -> None:
    umask(0)
    with files.lock(tmp_path / ".lock", 0):
        assert mode(tmp_path / ".lock") == 0o600


def test_a_folder_that_must_be_new_may_not_be_there(tmp_path: Path) -> None:
    files.make_folder(tmp_path / "client-01", new=True)
    with pytest.raises(FileExistsError):
        files.make_folder(tmp_path / "client-01", new=True)
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(FileExistsError):
        files.make_folder(tmp_path / "file")


@writers
@pytest.mark.parametrize("there", [True, False], ids=["leads somewhere", "leads nowhere"])
def test_nothing_is_written_through_a_link(tmp_path: Path, write: Write, there: bool) -> None:
    target, link = tmp_path / "target", tmp_path / "ledger.jsonl"
    if there:
        target.write_bytes(b"as it was")
    link.symlink_to(target)
    with pytest.raises(MinerError, match="this is a link"):
        write(link)
    assert link.is_symlink()
    assert target.exists() is there
    assert not there or target.read_bytes() == b"as it was"


def test_no_folder_is_made_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    for name, target in (("link", "out"), ("dangling", "nothing")):
        (tmp_path / name).symlink_to(tmp_path / target)
        with pytest.raises(MinerError, match="this is a link"):
            files.make_folder(tmp_path / name)
    assert not (tmp_path / "nothing").exists()


def test_a_linked_lock_neither_empties_nor_makes_what_it_leads_to(tmp_path: Path) -> None:
    (tmp_path / "target").write_bytes(b"as it was")
    (tmp_path / ".lock").symlink_to(tmp_path / "target")
    with pytest.raises(MinerError, match="this is a link"):
        files.lock(tmp_path / ".lock", 0)
    assert (tmp_path / "target").read_bytes() == b"as it was"


def test_a_link_put_there_meanwhile_is_replaced_and_not_followed(tmp_path: Path) -> None:
    (tmp_path / "target").write_bytes(b"as it was")
    with files.whole_file(tmp_path / "page.html") as file:
        (tmp_path / "page.html").symlink_to(tmp_path / "target")
        file.write(b"new")
    assert not (tmp_path / "page.html").is_symlink()
    assert (tmp_path / "target").read_bytes() == b"as it was"


def test_the_other_name_of_a_file_keeps_what_it_held(tmp_path: Path) -> None:
    """As some backups do: a second name for the same file, which must not change with it."""
    path, backup = tmp_path / "client.toml", tmp_path / "backup.toml"
    path.write_bytes(b"as it was")
    os.link(path, backup)
    files.write_whole(path, b"new")
    assert (path.read_bytes(), backup.read_bytes()) == (b"new", b"as it was")
    os.link(path, tmp_path / "second.toml")
    with pytest.raises(MinerError, match="second name"):
        files.append(path, b"er")
    assert path.read_bytes() == b"new"


def test_nothing_waits_for_the_other_end_of_a_pipe(tmp_path: Path) -> None:
    path = tmp_path / "ledger.jsonl"
    os.mkfifo(path)
    with pytest.raises(OSError, match=r"ledger\.jsonl"):
        files.append(path, b"new")
    reader = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    with pytest.raises(MinerError, match="this is not a file"):
        files.append(path, b"new")
    os.close(reader)


@writers
def test_a_disk_without_modes_will_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, write: Write
) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(files.os, "chmod", refuse)
    files.make_folder(tmp_path / "client-01")
    write(tmp_path / "client-01" / "page.html")
    assert (tmp_path / "client-01" / "page.html").read_bytes() == b"new"


@pytest.mark.parametrize("moment", ["write", "fsync", "rename"])
def test_a_write_that_is_cut_off_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    path = tmp_path / "client.toml"
    path.write_bytes(b"as it was")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    if moment == "rename":
        monkeypatch.setattr(Path, "replace", fail)
    elif moment == "fsync":
        monkeypatch.setattr(os, "fsync", fail)
    else:
        monkeypatch.setattr(files.os, "fdopen", fail)
    with pytest.raises(OSError, match="No space"):
        files.write_whole(path, b"new")
    monkeypatch.undo()
    assert path.read_bytes() == b"as it was"
    assert names(tmp_path) == ["client.toml"]


def test_writers_at_once_leave_one_of_their_files_whole(tmp_path: Path) -> None:
    contents = [bytes([letter]) * 200_000 for letter in b"abcdefgh"]
    threads = [
        threading.Thread(target=files.write_whole, args=(tmp_path / "page.html", content))
        for content in contents
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (tmp_path / "page.html").read_bytes() in contents
    assert names(tmp_path) == ["page.html"]
