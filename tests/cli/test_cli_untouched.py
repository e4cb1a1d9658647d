"""No command changes a client folder, but for the ledger and what it is told to write."""

from __future__ import annotations

import hashlib
import json
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
    folder = written(tmp_path_factory.mktemp("practice") / "client-03")
    rows = "".join(f"2026-03-13 {h:02d}:00,5.{h % 10}\n" for h in range(24))
    (folder / "meter.csv").write_text("when,glucose (mmol/L)\n" + rows)
    return folder


def written(folder: Path) -> Path:
    invented = resources.invented()
    (one,) = (one for one in invented.demo_scenarios() if one.code == folder.name)
    invented.write_client(folder, one)
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


def test_a_whole_story_leaves_the_raw_files_as_they_are(run: Any, tmp_path: Path) -> None:
    client = written(tmp_path / "practice" / "client-01")
    before = hashes(client.parent)
    ranked = json.loads(run("rank", str(client), "--draws", "100", "--format", "json").stdout)
    name = next(item["id"] for item in ranked["hypotheses"] if item["withheld"] is None)
    where, out = str(client), str(tmp_path)
    plan = ["plan", where, name, "--start", "2026-06-01", "--format", "json"]
    story = [
        ["ask", where, "--factor", "late_dinner", "--outcome", "overnight_mean", "--fix"],
        ["why", where, name],
        ["keep", where, name, "--as", "alternate"],
        plan,
        ["day", where, "--out", f"{out}/day.svg"],
        ["meals", where, "--compare", "walk_after", "--out", f"{out}/meals.svg"],
        ["brief", where, "--out", f"{out}/a.html", "--as", "session", "--include", name],
        ["brief", where, "--out", f"{out}/b.html", "--as", "take-home", "--include", name],
        ["brief", where, "--out", f"{out}/c.html", "--as", "doctor", "--figures", f"{out}/figures"],
        ["follow", where],
        ["history", where],
        ["export", where, "--as", "fhir", "--out", f"{out}/fhir"],
        ["day", str(client.parent)],
        ["caseload", str(client.parent), "--out", f"{out}/d.html"],
    ]
    planned = ""
    for words in story:
        result = run(*words)
        assert result.exit_code == 0, (words, result.output)
        if words is plan:
            planned = json.loads(result.stdout)["plan"]
        assert {path: hashes(client.parent).get(path) for path in before} == before, words
    result = run("result", where, planned)
    assert result.exit_code in (0, 2), result.output
    assert {path: hashes(client.parent).get(path) for path in before} == before
