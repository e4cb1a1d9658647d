"""A practice reads one unit of glucose: no command says anything in the other."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from miner.cli.group import miner as commands
from miner.core import resources

OTHER = {"mmol/L": "mg/dL", "mg/dL": "mmol/L"}
TYPED = {"mmol/L": ("0.1", "9"), "mg/dL": ("1", "0.5")}
"""A difference too small, and one of the other unit."""


@pytest.fixture(scope="module")
def invented(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six invented clients; the fourth has the messy files."""
    folder = tmp_path_factory.mktemp("invented") / "practice"
    resources.invented().write_practice(folder)
    return folder


@pytest.mark.parametrize("unit", ["mmol/L", "mg/dL"])
def test_every_command_is_in_the_unit_of_the_practice(invented: Path, unit: str) -> None:
    path, client = invented / "practice.toml", str(invented / "client-01")
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub('display_unit = ".*"', f'display_unit = "{unit}"', text))

    def told(*words: str, ends: int = 0) -> str:
        found = CliRunner().invoke(commands, list(words))
        assert found.exit_code == ends, (words, found.output)
        assert OTHER[unit] not in found.output or ends, (words, found.output)
        return found.output

    ranked = told("rank", client, "--detail")
    found = re.search(r"\b([0-9a-f]{8}): ", ranked)
    assert found is not None
    pattern, habit = found[1], ("--factor", "short_sleep", "--outcome", "wake_glucose")
    plan = ("plan", client, pattern, "--start", "2026-02-26", "--preview")
    small, other = (told(*plan, "--worth-having", typed, ends=2) for typed in TYPED[unit])
    assert f"at least {'0.28' if unit == 'mmol/L' else '5'} {unit}" in small
    assert f"Is it in {OTHER[unit]}?" in other
    whole = "".join(
        told(*words)
        for words in (
            ("days", client),
            ("meals", client),
            ("day", client, "2026-02-03"),
            ("why", client, pattern),
            plan,
            ("ask", client, *habit),
            ("error-rate", client, "--worlds", "2", "--draws", "100", "--workers", "1"),
            ("keep", client, pattern, "--as", "watch"),
            ("follow", client),
            ("history", client),
            ("keep", client, pattern, "--drop"),
            *(("check", str(invented / f"client-0{number}")) for number in (1, 4, 5, 6)),
            ("caseload", str(invented)),
        )
    )
    assert (ranked + whole).count(unit) > 20
