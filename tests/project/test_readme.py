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

import click

from miner import rulebook, steps
from miner.cli.group import miner
from miner.records.client import STREAMS

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"(?<=<!-- output of miner demo -->\n)```\n(.*?)```\n(?=<!-- end)", re.DOTALL)
TODAY = "2026-02-24"
START = "import sys; from miner.cli import main; sys.argv[0] = 'miner'; main()"


def demo_output() -> str:
    """Return what ``miner demo demo-practice`` prints on TODAY, 80 columns wide."""
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
    return done.stdout


def test_the_output_shown_is_what_the_demo_prints() -> None:
    shown = BLOCK.findall(README)
    assert len(shown) == 1
    assert shown[0] == demo_output(), "run 'make readme' and read what has changed"


def test_the_commands_of_the_readme_are_those_that_exist() -> None:
    shown = re.findall(r"^\| `miner (\S+) ", README, re.MULTILINE)
    assert shown == miner.list_commands(click.Context(miner))


def test_the_make_targets_of_the_papers_exist() -> None:
    targets = set(re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE))
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"\bmake ([a-z-]+)(?=[` \n])", README + developers))
    assert {"demo", "test"} <= named <= targets


def test_every_stream_is_described() -> None:
    assert tuple(re.findall(r"^\| ([a-z]+) \| `", README, re.MULTILINE)) == STREAMS


def test_the_example_files_are_read_as_they_stand(tmp_path: Path) -> None:
    blocks = re.findall(r"```(?:toml)?\n((?:time,|\[\[source|code =).*?)```", README, re.DOTALL)
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
    assert f"At least {guard.fewest_days_to_rank} usable days to rank" in README
    assert f"{guard.fewest_days_to_describe} to describe" in README
    assert guard.fewest_units_each_side == 5
    assert "at least five days with it and five without" in README
    assert f"in about {round(100 * guard.claim_level)}." in README
    assert guard.hints_shown == 3


if __name__ == "__main__":
    output = f"```\n{demo_output()}```\n"
    (ROOT / "README.md").write_text(BLOCK.sub(lambda _: output, README), encoding="utf-8")
