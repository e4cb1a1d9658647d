"""Commands on a disk without room and on one that may not be written to."""

import shutil
import subprocess
from datetime import UTC, date, datetime

import pytest
from click.testing import CliRunner

from miner import ledger, rulebook, steps
from miner.cli.group import miner as commands
from miner.core import resources
from miner.core.messages import MinerError

AT = datetime(2026, 3, 1, 9, tzinfo=UTC)
SIZE = 4 * 1024 * 1024


def mount(*words):
    done = subprocess.run(["mount", *map(str, words)], capture_output=True, check=False)
    return done.returncode == 0


@pytest.fixture(scope="module")
def client_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("client") / "client"
    resources.invented().effect_client(folder, 3, "short_sleep", 14.0, days=42)
    return folder


@pytest.fixture(scope="module")
def rules():
    return rulebook.load()


@pytest.fixture(scope="module")
def ids(client_folder, rules):
    ranking = steps.rank(steps.read_client(client_folder), rules, remember=False)
    return [item.id for item in ranking.hypotheses if item.difference][:2]


@pytest.fixture
def disk(tmp_path):
    """A disk of its own, four million bytes; skipped where mounting is not allowed."""
    place = tmp_path / "disk"
    place.mkdir()
    if not shutil.which("mount") or not mount("-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", place):
        pytest.skip("mounting is not allowed here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.fixture
def folder(disk, client_folder):
    return shutil.copytree(client_folder, disk / "client")


def fill(disk, left=0):
    """Leave that many bytes of room, in whole pages."""
    (disk / "filler").write_bytes(b"x" * max(shutil.disk_usage(disk).free - left, 0))
    assert shutil.disk_usage(disk).free <= left


def read_only(disk):
    assert mount("-o", "remount,ro", disk)


def invoke(*words):
    return CliRunner().invoke(commands, [str(word) for word in words])


def four_parts(result, *told):
    """One message of four parts, nothing on standard output, exit code 2."""
    text = " ".join(result.stderr.split())
    assert (result.exit_code, result.stdout) == (2, ""), result.output
    assert "Traceback" not in text
    for part in ("ledger.jsonl", "Expected", *told):
        assert part in text


def test_keeping_and_planning_on_a_full_disk_is_told(disk, folder, ids, rules):
    fill(disk)
    four_parts(invoke("keep", folder, ids[0], "--as", "watch"), "No space left", "disk")
    words = ("plan", folder, ids[0], "--start", "2026-03-02", "--pairs", "7")
    assert invoke(*words).exit_code == 2
    assert not ledger.read(folder).events
    (disk / "filler").unlink()
    assert invoke("keep", folder, ids[0], "--as", "watch").exit_code == 0
    fill(disk)
    shown = invoke("follow", folder, "--format", "json")
    assert (shown.exit_code, "waiting" in shown.stdout) == (0, True)
    long = "é" * 1000  # more than the last page of the file has left
    four_parts(invoke("keep", folder, ids[1], "--as", "watch", "--note", long), "No space left")
    assert [
        item.id for item in steps.follow(steps.read_client(folder), rules, remember=True).kept
    ] == [ids[0]]


def test_an_archive_on_a_full_disk_is_told_and_not_left_half(disk, folder):
    fill(disk, left=8192)
    result = invoke("export", folder, "--as", "everything", "--out", disk / "all.zip")
    assert result.exit_code == 2
    assert "No space left" in result.stderr
    assert sorted(path.name for path in disk.iterdir()) == ["client", "filler"]


def test_a_read_only_disk_is_read_and_nothing_is_promised(disk, folder, ids, rules):
    client = steps.read_client(folder)
    steps.keep(client, ids[0], "watch", rules, now=AT, read_on=date(2026, 3, 20))
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    read_only(disk)
    assert not ledger.read(folder).writable
    shown = invoke("follow", folder)
    assert shown.exit_code == 0, shown.output
    assert invoke("history", folder).exit_code == 0
    assert invoke("rank", folder, "--draws", "200").exit_code == 0
    four_parts(invoke("keep", folder, ids[1], "--as", "watch"), "cannot be written")
    four_parts(invoke("keep", folder, ids[0], "--drop"), "cannot be written")
    with pytest.raises(MinerError, match="cannot be written"):
        steps.drop(client, ids[0])
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
