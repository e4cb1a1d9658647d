"""Numbers in place of IDs, from a ranking that was shown to every command that takes a pattern."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from miner import ledger
from miner.core import resources

pytestmark = pytest.mark.usefixtures("derived_once")


@pytest.fixture(scope="module")
def ranked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The records of one client of six weeks."""
    folder = tmp_path_factory.mktemp("practice") / "client-01"
    invented = resources.invented()
    (one,) = (one for one in invented.demo_scenarios() if one.code == folder.name)
    invented.write_client(folder, one)
    return folder


def numbered(folder: Path) -> list[list[str]]:
    return [one.listed("ids") for one in ledger.named(ledger.read(folder), "numbered")]


def test_a_number_leads_to_the_pattern_that_the_ranking_shows(run: Any, ranked: Path) -> None:
    words = ("rank", str(ranked), "--draws", "100", "--format", "json")
    found = json.loads(run(*words).stdout)["hypotheses"]
    shown = [item["id"] for item in found if item["evidence"] == "clear"]
    shown += [item["id"] for item in found if item["evidence"] == "hint"][:3]
    assert numbered(ranked) == [shown]
    run(*words)
    assert numbered(ranked) == [shown]
    why = run("why", str(ranked), "2")
    assert why.stdout.startswith("Pattern 2: ")
    told = json.loads(run("why", str(ranked), "2", "--format", "json").stdout)
    assert told["id"] == shown[1]
    assert told["difference"] == pytest.approx(
        next(item["difference"] for item in found if item["id"] == shown[1])
    )
    history = run("history", str(ranked)).stdout
    assert "numbered" not in history


def test_a_ranking_is_one_screen_with_its_patterns_numbered_in_order(
    run: Any, ranked: Path
) -> None:
    lines = run("rank", str(ranked), "--draws", "100").stdout.splitlines()
    assert len(lines) <= 25
    assert lines[0] == "client-01, 12 Jan to 23 Feb 2026: 41 of 43 days could be used."
    numbers = [int(found[1]) for line in lines if (found := re.match(r"(\d+)  \S", line))]
    assert numbers == [1, 2, 3, 4]
    assert f"The days behind a pattern: miner why {ranked} 1" in lines
    full = run("rank", str(ranked), "--draws", "100", "--detail").stdout
    assert len(full.splitlines()) < 300


def test_a_bad_number_is_one_message_of_every_command(
    run: Any, ranked: Path, tmp_path: Path
) -> None:
    folder = shutil.copytree(ranked, tmp_path / "client-01")
    page = str(tmp_path / "page.html")
    for words in (
        ("why", str(folder), "99"),
        ("keep", str(folder), "99", "--as", "watch"),
        ("plan", str(folder), "99", "--start", "2026-06-01", "--preview"),
        ("brief", str(folder), "--as", "session", "--include", "99", "--out", page),
    ):
        result = run(*words)
        assert (result.exit_code, result.stdout) == (2, ""), words
        assert "and none with the number 99. Expected a whole number from 1 to " in result.stderr
        assert "Traceback" not in result.stderr
    result = run("why", str(folder), "-1")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "'-1'" in result.stderr
