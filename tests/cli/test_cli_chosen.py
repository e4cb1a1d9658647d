"""Choices that come back from an exported page as codes: one command, and no guess."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from miner import steps
from miner.core import resources
from miner.core.results.briefing import PageChoices
from miner.steps.pages import briefing


@pytest.fixture
def client(made_once: Any, tmp_path: Path) -> Path:
    """A client in whom a late dinner goes with a much higher night."""

    def written(home: Path) -> Path:
        resources.invented().effect_client(home, 3, "late_dinner", 25.0)
        return home

    folder = tmp_path / "client-01"
    shutil.copytree(made_once("client-of-codes", written), folder)
    return folder


def test_codes_are_taken_and_a_slip_of_the_pen_is_told(run: Any, client: Path) -> None:
    read = steps.read_client(client)
    shown = [one.id for one in steps.rank(read).hypotheses if one.evidence in ("clear", "hint")]
    dinner = next(
        id_
        for id_ in shown
        if "test" in briefing(read, choices=PageChoices(include=[id_])).offers[id_].codes
    )
    codes = briefing(read, choices=PageChoices(include=[dinner])).offers[dinner].codes
    slip = run("note", str(client), "--chosen", f"{codes['test'][:-1]}?", codes["leave"])
    assert slip.exit_code == 2
    assert "is not the code of a choice" in " ".join(slip.stderr.split())
    other = codes["test"].replace("T", "W", 1)
    assert "does not fit" in " ".join(run("note", str(client), "--chosen", other).stderr.split())
    assert "kept" not in run("history", str(client)).stdout.casefold()
    said = run("note", str(client), "--chosen", codes["test"].lower())
    assert said.exit_code == 0, said.output
    assert f"miner plan {client} {dinner} --start DATE --preview" in said.stdout
    both = run("note", str(client), "--chosen", codes["watch"], codes["leave"])
    assert "Two of the codes" in " ".join(both.stderr.split())
    again = run("note", str(client), "--chosen", codes["test"])
    assert "nothing new is written" in " ".join(again.stdout.split())
    left = run("note", str(client), "--chosen", codes["leave"])
    assert " Leave. " in left.stdout
    shown = "".join(run("follow", str(client)).stdout.split())
    assert f"minerkeep{client}{dinner}" in shown  # a long folder is cut at the edge of the screen
