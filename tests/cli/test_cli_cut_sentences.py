"""No command prints a sentence that was cut, whatever long names its files hold."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from datasets.invented.export import write_client
from datasets.invented.practice import demo_scenarios

CUT = re.compile(r"(?<=\w)\.\.\.(?!')")
"""An ellipsis after a word is for a shortened name in quotes, or in a cell of a table, alone."""

LONG = "Tracker export of the second week, corrected by hand (copy 3) - final version"
LABEL = "1 date plant based quiche chips coleslaw half baguette with seek kebab tea grapes " * 4


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A client of the demo with long names of files, tags and foods, and faults in every file."""
    folder = tmp_path_factory.mktemp("long") / f"client {'0' * 60}"
    write_client(folder, demo_scenarios()[0])
    for stream in ("meals", "tags", "sleep", "activity"):
        path = folder / f"{stream}.csv"
        frame = pd.read_csv(path, dtype=str)
        if stream == "meals":
            frame.loc[frame.index % 5 == 0, "label"] = LABEL
            frame.loc[frame.index % 7 == 0, "carbs_g"] = f"about {LONG}"
        if stream == "tags":
            frame["tag"] = frame["tag"] + " " + LONG
        if stream == "sleep":
            frame.loc[frame.index % 6 == 0, "asleep_min"] = "900"
        frame[f"A column called {LONG}"] = "x"
        frame.to_csv(folder / f"{stream} {LONG}.csv", index=False)
        path.unlink()
    return folder


@pytest.mark.parametrize(
    "words",
    [
        ("check",), ("check", "--detail"), ("check", "--week"), ("day",), ("day", "--detail"),
        ("rank", "--draws", "100"), ("history",), ("follow",),
    ],
)  # fmt: skip
def test_no_sentence_is_cut(run: Any, client: Path, words: tuple[str, ...]) -> None:
    result = run(words[0], str(client), *words[1:])
    assert result.exit_code == 0, result.stderr
    assert CUT.findall(result.stdout) == []


def test_the_check_of_long_names_is_one_screen(run: Any, client: Path) -> None:
    assert len(run("check", str(client)).stdout.splitlines()) <= 25
