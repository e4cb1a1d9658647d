"""No command changes a client folder, but for the ledger and what it is told to write."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from miner.cli.group import COMMANDS
from miner.core import resources

pytestmark = pytest.mark.usefixtures("derived_once")

LEDGER = Path(__file__).parents[2] / "benchmarks" / "same_facts_ledger.jsonl"
OLDER = "of-0.1.0"
MADE = ("demo", "generate", "open")
WRITTEN = {"ledger.jsonl", ".ledger.last", "sources.toml", "corrections.csv", "notes.md"}
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


@pytest.fixture(scope="module")
def older(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A client whose ledger version 0.1.0 wrote: kept ideas, a plan, fixed questions."""
    folder = written(tmp_path_factory.mktemp("older") / "client-01")
    settings = folder / "client.toml"
    settings.write_text(settings.read_text().replace('"client-01"', f'"{OLDER}"'))
    (folder / "ledger.jsonl").write_bytes(LEDGER.read_bytes())
    return folder.rename(folder.with_name(OLDER))


@pytest.mark.parametrize("name", [name for name in COMMANDS if name not in (*MADE, "map")])
def test_a_practice_of_version_0_1_0_opens_with_every_command(
    name: str, older: Path, run: Any, tmp_path: Path
) -> None:
    test_raw_files_are_the_same_after_every_command(name, older, run, tmp_path)
    ledger = (older / "ledger.jsonl").read_bytes()
    assert ledger.startswith(LEDGER.read_bytes())


def test_every_command_with_words_of_its_own_is_there() -> None:
    assert set(WORDS) <= set(COMMANDS)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.lstat().st_mode)


@pytest.fixture
def no_umask() -> Iterator[None]:
    """An account whose new files everybody may read and write, unless a program says otherwise."""
    before = os.umask(0)
    yield
    os.umask(before)


@pytest.mark.usefixtures("planned_in_march")
def test_a_whole_story_leaves_the_raw_files_and_lets_nobody_else_read(
    run: Any, tmp_path: Path, no_umask: None
) -> None:
    client = written(tmp_path / "practice" / "client-01")
    given = [tmp_path, *client.glob("*.csv"), client]
    for path in given:
        path.chmod(0o755)
    before = hashes(client.parent)
    ranked = json.loads(run("rank", str(client), "--draws", "100", "--format", "json").stdout)
    name = next(item["id"] for item in ranked["hypotheses"] if item["withheld"] is None)
    where, out = str(client), str(tmp_path)
    files = ["--page", f"{out}/plan.html", "--calendar", f"{out}/plan.ics"]
    wish = ["--start", "2026-06-01", "--length", "long"]
    plan = ["plan", where, name, *wish, "--format", "json", *files]
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
        ["export", where, "--as", "csv", "--out", f"{out}/tables/csv"],
        ["export", where, "--as", "everything", "--out", f"{out}/all.zip"],
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
    assert {mode(path) for path in given} == {0o755}
    made = [path for path in tmp_path.rglob("*") if path not in given]
    assert {path.name for path in made} > {
        "ledger.jsonl", ".ledger.last", ".ledger.lock", "day.svg", "figures", "fhir",
        "records.ndjson", "d.html", ".miner-caseload", "plan.html", "plan.ics", "all.zip",
        "glucose.csv",
    }  # fmt: skip
    open_ = {
        str(path): oct(mode(path))
        for path in made
        if mode(path) != (0o700 if path.is_dir() else 0o600)
    }
    assert open_ == {}


LINKED = {
    "a page": ["brief", "{client}", "--as", "session", "--out", "{link}"],
    "figures": ["brief", "{client}", "--as", "session", "--out", "{out}/a.html",
                "--figures", "{link}"],
    "the page of a plan": ["plan", "{client}", "x", "--start", "2026-06-01", "--page", "{link}"],
    "a calendar": ["plan", "{client}", "x", "--start", "2026-06-01", "--calendar", "{link}"],
    "a day": ["day", "{client}", "--out", "{link}"],
    "meals": ["meals", "{client}", "--compare", "walk_after", "--out", "{link}"],
    "tables": ["export", "{client}", "--as", "csv", "--out", "{link}"],
    "an archive": ["export", "{client}", "--as", "everything", "--out", "{link}"],
    "a caseload": ["caseload", "{practice}", "--out", "{link}"],
    "the work folder": ["caseload", "{practice}", "--work", "{link}"],
    "a demo": ["demo", "{link}"],
    "a practice": ["generate", "{link}", "--clients", "1", "--days", "14"],
}  # fmt: skip
ENDINGS = {"a calendar": ".ics", "a day": ".svg", "meals": ".png", "an archive": ".zip"}
FOLDERS = ("figures", "tables", "the work folder", "a demo", "a practice")


@pytest.mark.parametrize("name", LINKED)
def test_no_command_writes_through_a_link(
    name: str, client: Path, run: Any, tmp_path: Path
) -> None:
    target, link = tmp_path / "target", tmp_path / f"link{ENDINGS.get(name, '.html')}"
    if name in FOLDERS:
        target.mkdir()
    link.symlink_to(target)
    places = {"client": client, "practice": client.parent, "link": link, "out": tmp_path}
    result = run(*(word.format(**places) for word in LINKED[name]))
    assert result.exit_code == 2, result.output
    assert "this is a link to another place" in result.stderr
    assert not target.is_file()
    assert not target.is_dir() or not any(target.iterdir())


@pytest.mark.parametrize("name", ["ledger.jsonl", ".ledger.last", ".ledger.lock"])
def test_a_linked_ledger_is_not_written(run: Any, tmp_path: Path, name: str) -> None:
    client = written(tmp_path / "practice" / "client-01")
    (tmp_path / "target").write_text("")
    (client / name).symlink_to(tmp_path / "target")
    fix = ["--factor", "late_dinner", "--outcome", "overnight_mean", "--fix"]
    result = run("ask", str(client), *fix)
    assert (result.exit_code, result.stdout) == (2, ""), result.output
    assert name in result.stderr
    assert (tmp_path / "target").read_text() == ""
    assert not (client / "ledger.jsonl").exists() or name == "ledger.jsonl"


def test_a_linked_mapping_is_not_written(run: Any, tmp_path: Path) -> None:
    (tmp_path / "client").mkdir()
    (tmp_path / "client" / "meter.csv").write_text("when,glucose (mmol/L)\n2026-03-13 10:00,5.5\n")
    (tmp_path / "target").write_text("")
    (tmp_path / "client" / "sources.toml").symlink_to(tmp_path / "target")
    result = run("map", str(tmp_path / "client" / "meter.csv"), "--write")
    assert result.exit_code == 2, result.output
    assert "this is a link to another place" in result.stderr
    assert (tmp_path / "target").read_text() == ""
