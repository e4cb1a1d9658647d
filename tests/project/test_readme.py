"""The README shows what is there."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import click

from miner import rulebook
from miner.cli.group import miner
from miner.records.client import STREAMS

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


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


def test_the_settings_shown_are_valid() -> None:
    blocks = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    source, client = (tomllib.loads(block) for block in blocks)
    assert source["source"][0]["stream"] in STREAMS
    assert set(client["intake"]) <= set(rulebook.load().cautions.intake)


def test_the_limits_shown_are_those_of_the_rule_book() -> None:
    guard = rulebook.load().guardrails
    assert f"At least {guard.fewest_days_to_rank} usable days to rank" in README
    assert f"{guard.fewest_days_to_describe} to describe" in README
    assert guard.fewest_units_each_side == 5
    assert "at least five days with it and five without" in README
    assert f"in about {round(100 * guard.claim_level)}." in README
    assert guard.hints_shown == 3
