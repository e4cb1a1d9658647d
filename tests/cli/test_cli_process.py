"""The command line as a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

START = "from miner.cli import main; main()"
STATEMENT = "import sys; sys.path.insert(0, {where!r})\nimport fake\n" + START
HEAVY = ("pandas", "scipy", "matplotlib", "pydantic", "numpy", "rich", "jinja2", "mlxtend")
LOADED = f"""
import sys
from miner.cli import main
try:
    main()
finally:
    heavy = [name for name in {HEAVY!r} if name in sys.modules]
    print("heavy:", heavy, file=sys.stderr)
"""
FAKE = """
import sys, types
from types import SimpleNamespace
import miner
steps = types.ModuleType("miner.steps")
steps.load_rules = lambda *a: __import__("miner.rulebook", fromlist=["load"]).load()
steps.read_client = lambda *a: SimpleNamespace(
    settings=SimpleNamespace(code="c", display_unit="mg/dL"))
class Report:
    findings = ()
    def to_dict(self):
        return {"name": "caf\\u00e9 \\u202e", "lone": "\\udc80", "long": "x" * 300000}
steps.check = lambda *a: Report()
sys.modules["miner.steps"] = miner.steps = steps
"""


def process(
    code: str, *words: str, env: dict[str, str] | None = None
) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, "PYTHONIOENCODING": "", **(env or {})}
    return subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, env=environment, timeout=60
    )


@pytest.fixture
def fake(tmp_path: Path) -> str:
    """The start of a process whose steps are stand-ins."""
    (tmp_path / "fake.py").write_text(FAKE)
    return STATEMENT.format(where=str(tmp_path))


@pytest.mark.parametrize("words", [["--help"], [], ["rank", "--help"], ["demo", "--help"]])
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    done = process(LOADED, *words)
    assert (done.returncode, done.stderr) == (0, b"heavy: []\n")
    assert done.stdout.startswith(b"Usage: miner ")


@pytest.mark.parametrize("words", [["--help"], []])
def test_the_help_of_miner_loads_no_library(words: list[str]) -> None:
    done = process(LOADED.replace(repr(HEAVY), repr((*HEAVY, "click", "json"))), *words)
    assert (done.returncode, done.stderr) == (0, b"heavy: []\n")


def test_the_list_of_heavy_libraries_would_see_one() -> None:
    done = process("import pandas\n" + LOADED, "--help")
    assert b"'pandas'" in done.stderr


def test_help_lists_every_command_and_no_other() -> None:
    from miner.cli.group import COMMANDS

    text = process(START, "--help").stdout.decode()
    table, _, end = text.partition("Get ready:\n")[2].partition("  Exit codes: ")
    listed = [line.split()[0] for line in table.splitlines() if line.startswith("  ")]
    assert end.startswith("0 is finished, ")
    assert listed == list(COMMANDS)


def test_help_names_every_option_and_is_the_same_by_whichever_way(run: Any) -> None:
    from miner.cli.group import miner as commands

    text = process(START, "--help").stdout.decode()
    assert process(START).stdout.decode() == text == run("--help").stdout == run().stdout
    told = text.partition("Options:\n")[2].partition("\n\n")[0]
    options = [param.opts[0] for param in commands.params]
    assert [line.split()[0] for line in told.splitlines()] == [*options, "--help"]


def test_version_is_printed() -> None:
    from importlib.metadata import version

    assert process(START, "--version").stdout.decode() == f"miner {version('miner')}\n"


def test_wrong_usage_exits_with_two() -> None:
    done = process(START, "rank")
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.startswith(b"CLIENT is missing. Expected ")


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "latin-1"])
def test_json_can_be_read_whatever_the_encoding(fake: str, encoding: str) -> None:
    done = process(fake, "check", "c", "--format", "json", env={"PYTHONIOENCODING": encoding})
    assert (done.returncode, done.stderr) == (0, b"")
    found = json.loads(done.stdout.decode(encoding))
    assert (found["name"], found["lone"]) == ("caf\u00e9 \u202e", "\udc80")


def test_text_is_written_on_an_ascii_terminal(fake: str, tmp_path: Path) -> None:
    code = fake.replace(START, "from miner.cli.output import put; put('caf\\u00e9\\n')")
    done = process(code, env={"PYTHONIOENCODING": "ascii"})
    assert (done.returncode, done.stdout, done.stderr) == (0, b"caf\\xe9\n", b"")


def test_a_reader_that_goes_away_is_no_fault(fake: str) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", fake, "check", "c", "--format", "json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.read(10)
        running.stdout.close()
        assert running.stderr.read() == b""
    assert running.returncode == 0


def test_an_output_that_is_full_is_told(fake: str) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("this system has no device that is always full")
    with full.open("wb") as out:
        done = subprocess.run(
            [sys.executable, "-c", fake, "check", "c", "--format", "json"],
            stdout=out,
            stderr=subprocess.PIPE,
        )
    assert done.returncode == 2
    assert done.stderr.startswith(b"No space left on device. Expected ")


def test_progress_is_silent_where_nobody_looks(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from miner.cli.waiting import progress

    monkeypatch.setenv("FORCE_COLOR", "1")
    with progress("cli.ranking", after_s=0.0) as report:
        report("Searching", 0.5)
    assert capsys.readouterr() == ("", "")


def test_progress_shows_the_step_on_a_terminal_and_wipes_it() -> None:
    from io import StringIO

    from rich.console import Console

    from miner.cli.waiting import progress

    screen = StringIO()
    console = Console(file=screen, force_terminal=True, force_interactive=True, width=80)
    with progress("cli.ranking", after_s=60.0, console=console):
        pass
    assert screen.getvalue() == ""
    with progress("cli.ranking", after_s=0.0, console=console) as report:
        report("[red]Searching", 0.5)
        for _ in range(1000):
            if "[red]Searching" in screen.getvalue():
                break
            time.sleep(0.01)
    assert "[red]Searching" in screen.getvalue()
    assert screen.getvalue().endswith("\x1b[2K")


def test_the_samples_are_results(samples: ModuleType) -> None:
    json.dumps(samples.ranking(samples.hypothesis()).to_dict(), allow_nan=False)
    json.dumps(samples.report().to_dict(), allow_nan=False)
