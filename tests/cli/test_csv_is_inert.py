"""What a spreadsheet opens does nothing, whatever stands in tags, meals and the client's code."""

from __future__ import annotations

import csv
import importlib.util
import re
from io import StringIO
from pathlib import Path

import pytest
from click.testing import CliRunner

from miner.cli.group import miner as commands
from miner.render.values import sheet

pytestmark = pytest.mark.usefixtures("derived_once")

CLIENTS = Path(__file__).resolve().parents[1] / "words" / "page_clients.py"
# OWASP, "CSV injection": a cell that begins with one of these may be taken for a formula.
FORMULA = re.compile(r"[=+\-@\t\r]")
NUMBER = re.compile(r"-?\d+(\.\d+)?(e-?\d+)?")
# Unicode Standard Annex 9, table of explicit directional and implicit formatting characters.
TURNING = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def faults(text: str) -> list[str]:
    """Return every cell a spreadsheet would run, turn around or break a line at."""
    rows = list(csv.reader(StringIO(text, newline="")))
    assert {len(row) for row in rows} == {len(rows[0])}
    return [
        cell[:60]
        for row in rows
        for cell in row
        if (FORMULA.match(cell) and not NUMBER.fullmatch(cell))
        or set(cell) & set(TURNING)
        or any(ord(mark) < 32 for mark in cell)
        or len(cell) > 32_767
    ]


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A client whose code, tags and meals are hostile; the code is a formula too."""
    spec = importlib.util.spec_from_file_location("csv_page_clients", CLIENTS)
    assert spec is not None
    assert spec.loader is not None
    clients = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(clients)
    folder = clients.make_hostile(clients.write_invented(tmp_path_factory.mktemp("hostile")))
    toml = folder / "client.toml"
    _, *lines = toml.read_text("utf-8").splitlines()
    code = "=HYPERLINK('http://example.invalid','x')\\u202e"
    toml.write_text("\n".join([f'code = "{code}"', *lines]) + "\n", encoding="utf-8")
    return Path(folder)


@pytest.mark.parametrize(
    ("command", "known"),
    [
        (("rank", "--draws", "200"), "alert(1)"),
        (("rank", "--unit", "meal", "--draws", "200"), "food:"),
        (("days",), "tag:<script>"),
        (("meals",), "food:"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_no_cell_is_run_or_turned_around(
    hostile: Path, command: tuple[str, ...], known: str
) -> None:
    name, *options = command
    result = CliRunner().invoke(
        commands, [name, str(hostile), *options, "--format", "csv"], catch_exceptions=False
    )
    assert result.exit_code == 0
    assert known in result.stdout
    assert faults(result.stdout) == []


def test_a_hostile_cell_would_be_found() -> None:
    bad = (
        '=HYPERLINK("x")',
        "@SUM(1)",
        "-1+cmd|' /C calc'!A0",
        "abc\u202edef",
        "a\nb",
        "w" * 40_000,
    )
    plain = StringIO(newline="")
    csv.writer(plain).writerows([[cell] for cell in bad])
    assert len(faults(plain.getvalue())) == len(bad)
    text = sheet(["name"], [[cell] for cell in bad])
    assert faults(text) == []
    assert "'=HYPERLINK" in text
    assert "abc<U+202E>def" in text


def test_numbers_stay_numbers() -> None:
    assert (
        sheet(["a"], [[-1.5], [0.1], [-2], [None], [float("nan")]]) == 'a\n-1.5\n0.1\n-2\n""\n""\n'
    )
