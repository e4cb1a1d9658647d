"""The README shows what is there.

``make readme`` runs this file to write the output of the demo into it again.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from miner import rulebook, steps
from miner.records.client import STREAMS

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
FOLDER = (ROOT / "docs" / "client-folder.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"(?<=<!-- output of miner demo -->\n)```\n(.*?)```\n(?=<!-- end)", re.DOTALL)
TODAY, LINES = "2026-02-24", 15
START = "import sys; from miner.cli import main; sys.argv[0] = 'miner'; main()"


def demo_output() -> str:
    """Return how what ``miner demo demo-practice`` prints on TODAY begins, 80 columns wide."""
    with tempfile.TemporaryDirectory() as home:
        done = subprocess.run(
            [sys.executable, "-c", START, "demo", "demo-practice", "--today", TODAY],
            cwd=home,
            env=os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "80"},
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            check=True,
        )
    return "".join(done.stdout.splitlines(keepends=True)[:LINES]).rstrip() + "\n"


def test_the_output_shown_is_what_the_demo_prints() -> None:
    shown = BLOCK.findall(README)
    assert len(shown) == 1
    assert shown[0] == demo_output(), "run 'make readme' and read what has changed"


def test_the_readme_is_short() -> None:
    assert len(README.split()) <= 1300


def test_the_make_targets_of_the_papers_exist() -> None:
    targets = set(re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE))
    papers = [ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md")]
    texts = [README, *(path.read_text(encoding="utf-8") for path in papers)]
    named = set(re.findall(r"(?:`|^)make ([a-z-]+)(?=[` \n])", "\n".join(texts), re.MULTILINE))
    assert {"demo", "open", "test", "docs"} <= named <= targets


def test_every_stream_is_described() -> None:
    assert tuple(re.findall(r"^\| ([a-z]+) \| `(?:time|start)`", FOLDER, re.MULTILINE)) == STREAMS


def test_the_example_files_are_read_as_they_stand(tmp_path: Path) -> None:
    blocks = re.findall(r"```(?:toml)?\n((?:time,|\[\[source|code =).*?)```", FOLDER, re.DOTALL)
    for name, block in zip(("glucose.csv", "sources.toml", "client.toml"), blocks, strict=True):
        (tmp_path / name).write_text(block, encoding="utf-8")
    other = "Reading taken;Result\n01/03/2026 00:10;5,4\n"
    (tmp_path / "sensor-1.csv").write_text(other, encoding="utf-8")

    client = steps.read_client(tmp_path)

    # 5.4 mmol/L x 18.0156 = 97.3 mg/dL (molar mass of glucose 180.156 g/mol, IUPAC weights)
    glucose = client.streams["glucose"]
    assert glucose["glucose"].round(1).tolist() == [96.0, 97.0, 97.3]
    assert client.settings.time_zone == "Europe/Lisbon"
    assert client.settings.intake["medicines"] == "no"
    assert [day.reason for day in client.settings.left_out] == ["fever"]
    assert [finding for finding in client.findings if finding.severity == "stop"] == []


def test_the_limits_shown_are_those_of_the_rule_book() -> None:
    guard = rulebook.load().guardrails
    assert f"At least {guard.fewest_days_to_rank} days that can be used to rank" in README
    assert f"{guard.fewest_days_to_describe} to describe" in README
    assert guard.fewest_units_each_side == 5
    assert "at least five days with it and five without" in README
    assert f"in about {round(100 * guard.claim_level)} of 100" in README
    assert guard.hints_shown == 3


def ranges(header: str, column: str) -> dict[int, tuple[float, float]]:
    """Return the least and the most of a column of the calibration's tables, by days."""
    text = (ROOT / "benchmarks" / "results" / "calibration.md").read_text(encoding="utf-8")
    found: dict[int, list[float]] = {}
    for table in re.findall(r"(?:^\|.*\n)+", text, re.MULTILINE):
        rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in table.splitlines()]
        if rows[0][0] == "world" and header in rows[0]:
            at = rows[0].index(column)
            for row in rows[2:]:
                found.setdefault(int(row[1]), []).append(float(row[at]))
    return {days: (min(each), max(each)) for days, each in found.items()}


def test_the_figures_shown_are_those_that_were_measured() -> None:
    nothing = ranges("list by lift >= 1.5", "search")
    asked = ranges("one of three fixed", "a fixed question")
    searched = ranges("one of three fixed", "one outcome searched")
    for name, measured, digits in (
        ("something called clear, nothing true", nothing, 1),
        ("a true difference of 1.4 SD found, question written down first", asked, 0),
        ("the same, one glucose measure searched", searched, 0),
    ):
        cells = " | ".join(
            f"{low:.{digits}f} to {high:.{digits}f}" for low, high in (measured[28], measured[60])
        )
        assert f"| {name} | {cells} |" in README
    assert f"shows something false in {nothing[90][1]:.1f} of 100" in README


if __name__ == "__main__":
    output = f"```\n{demo_output()}```\n"
    (ROOT / "README.md").write_text(BLOCK.sub(lambda _: output, README), encoding="utf-8")
