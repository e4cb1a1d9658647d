"""Every outcome and habit, recomputed from raw files by the rule books alone, is the same.

The four people of the open records, which are no part of the repository, are compared by
``benchmarks/read_again.py``.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from second import disagreements
from spoiled import spoil

from miner.core import resources

SHARE, ALL = 6, 200
ZONES = (None, "Europe/Lisbon", "Asia/Kolkata")


def month(number: int, folder: Path) -> None:
    """Write one invented month.

    Two in four are messy files, one is plain, and one holds what invented months do not.
    """
    invented = resources.invented()
    rng = np.random.default_rng([number, 16])
    one = invented.scenarios(8, days=int(rng.integers(16, 29)), seed=1000 + number)[number % 8]
    one = replace(
        one,
        code="client",
        messy=number % 2 == 0,
        start=date(2026, 1, 12),  # no clock is changed in these weeks
        time_zone=ZONES[int(rng.integers(3))],
        misspelt=float(rng.choice([0.0, 0.3])),
        fading=float(rng.choice([0.0, 0.4])),
        sensor_days=int(rng.choice([10, 14, 60])),
        unit=str(rng.choice(["mg/dL", "mmol/L"])),
        linked_meals=True,
    )
    invented.write_client(folder, one)
    if number % 4 == 3:
        spoil(folder, rng)


def agree(number: int, tmp_path: Path) -> None:
    folder = tmp_path / "client"
    month(number, folder)
    assert disagreements(folder) == {}


@pytest.mark.parametrize("number", range(SHARE))
def test_a_month_is_read_the_same_twice(number, tmp_path):
    agree(number, tmp_path)


@pytest.mark.prove
@pytest.mark.parametrize("number", range(SHARE, ALL))
def test_two_hundred_months_are_read_the_same_twice(number, tmp_path):
    agree(number, tmp_path)
