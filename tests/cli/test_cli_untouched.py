"""No command changes a client folder, but for the ledger and what it is told to write."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest

from miner import resources
from miner.cli.group import COMMANDS

MADE = ("demo", "generate", "open")
WRITTEN = {"ledger.jsonl", "sources.toml"}
WORDS = {
    "ask": ["--factor", "short_sleep", "--outcome", "wake_glucose"],
    "brief": ["--out", "{out}/page.html", "--as", "preparation"],
    "check": ["--week"],
    "error-rate": ["--worlds", "2", "--draws", "50"],
    "export": ["--as", "csv", "--out", "{out}/export"],
    "rank": ["--draws", "100"],
    "why": ["00000000"],
    "keep": ["00000000", "--as", "watch"],
    "plan": ["00000000", "--start", "2026-06-01"],
    "result": ["nothing"],
}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented client, with a file that nobody has mapped."""
    folder = tmp_path_factory.mktemp("practice") / "client-03"
    invented = resources.invented()
    (short,) = (one for one in invented.demo_scenarios() if one.code == folder.name)
    invented.write_client(folder, short)
    rows = "".join(f"2026-03-13 {h:02d}:00,5.{h % 10}\n" for h in range(24))
    (folder / "meter.csv").write_text("when,glucose (mmol/L)\n" + rows)
    return folder


def hashes(folder: Path) -> dict[str, str]:
    files = (path for path in folder.rglob("*") if path.is_file() and path.name not in WRITTEN)
    return {str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


@pytest.mark.parametrize("name", [name for name in COMMANDS if name not in MADE])
def test_raw_files_are_the_same_after_every_command(
    name: str, client: Path, run: Any, tmp_path: Path
) -> None:
    before = hashes(client.parent)
    where = str(client / "meter.csv") if name == "map" else str(client)
    if name == "caseload":
        where = str(client.parent)
    words = [word.format(out=tmp_path) for word in WORDS.get(name, [])]
    extra = ["--write"] if name == "map" else []
    result = run(name, where, *words, *extra)
    assert result.exit_code in (0, 2, 3), result.output
    assert "Traceback" not in result.output
    after = hashes(client.parent)
    assert {path: after.get(path) for path in before} == before


def test_every_command_with_words_of_its_own_is_there() -> None:
    assert set(WORDS) <= set(COMMANDS)
