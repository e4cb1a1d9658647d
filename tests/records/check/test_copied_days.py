"""A day whose readings are an earlier day's over again under another date."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from miner.records import read_client
from miner.records.check.one_person import COPIED, clock_prints

FIRST = datetime(2026, 3, 1)


def written(folder: Path, days: list[np.ndarray], every: int = 15) -> Path:
    folder.mkdir(parents=True)
    lines = ["time,glucose_mg_dl"]
    for at, values in enumerate(days):
        for k, value in enumerate(values):
            when = FIRST + timedelta(days=at, minutes=every * k)
            lines.append(f"{when.isoformat()},{value:.0f}")
    (folder / "glucose.csv").write_text("\n".join(lines) + "\n")
    return folder


def trace(seed: int) -> np.ndarray:
    return 110 + np.random.default_rng(seed).normal(0, 12, 96).cumsum() / 4


def test_the_later_of_two_equal_days_is_left_out_and_told(tmp_path: Path) -> None:
    own = [trace(0), trace(1), trace(2)]
    client = read_client(written(tmp_path / "a", [*own, own[1], own[1]]))
    glucose = client.streams["glucose"]
    left_out = glucose["clock"].dt.strftime("%Y-%m-%d")[glucose["left_out"] == COPIED]
    assert sorted(set(left_out)) == ["2026-03-04", "2026-03-05"]
    (told,) = [item for item in client.findings if item.code == "copied_days"]
    assert (told.row, told.count) == (2 + 3 * 96, 2 * 96)
    assert told.days == ("2026-03-04", "2026-03-05")
    assert len(set(clock_prints(client).values())) == 3


@pytest.mark.parametrize("change", ["one value", "shifted", "few readings", "flat"])
def test_what_is_no_copy_is_used(tmp_path: Path, change: str) -> None:
    one = trace(4)
    days = {
        "one value": [one, one + (np.arange(96) == 40) * 5],
        "shifted": [one, np.roll(one, 1)],
        # the shortest that counts: 24 readings and 10 different values
        "few readings": [one[:23], one[:23]],
        "flat": [np.full(96, 100.0) + np.arange(96) % 9, np.full(96, 100.0) + np.arange(96) % 9],
    }[change]
    client = read_client(written(tmp_path / "a", days))
    assert not [item for item in client.findings if item.code == "copied_days"]
    assert COPIED not in set(client.streams["glucose"]["left_out"])
