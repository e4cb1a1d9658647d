"""What the tests of the steps share."""

from __future__ import annotations

from pathlib import Path

import pytest

from miner import resources


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The records of a client in whom a late dinner goes with a much higher night."""
    home = tmp_path / "practice" / "client-01"
    resources.invented().effect_client(home, 3, "late_dinner", 25.0)
    return home
