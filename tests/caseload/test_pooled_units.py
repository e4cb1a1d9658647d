"""The units of a pool: a small file is held in memory, a large one read a few columns at a time."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from miner.caseload import store
from miner.caseload.store import CLIENT, PooledUnits


@pytest.fixture
def file(tmp_path: Path) -> tuple[Path, pd.DataFrame]:
    rng = np.random.default_rng(1)
    frame = pd.DataFrame(rng.normal(size=(50, 3)), columns=["time", "x:a@0", "y:b"])
    frame.loc[3, "y:b"] = np.nan
    frame.insert(0, CLIENT, np.repeat(np.arange(5, dtype=np.int32), 10))
    frame.to_parquet(tmp_path / "pool.parquet", index=False)
    return tmp_path / "pool.parquet", frame


def test_a_small_file_is_read_once(file: tuple[Path, pd.DataFrame]) -> None:
    path, frame = file
    units = PooledUnits(path, ("time", "x:a@0", "y:b"), 0)
    pd.testing.assert_frame_equal(units.read(["y:b"]), frame[[CLIENT, "y:b"]])
    path.unlink()
    pd.testing.assert_frame_equal(units.read(["x:a@0", "time"]), frame[[CLIENT, "x:a@0", "time"]])


def test_a_large_file_is_read_again(
    file: tuple[Path, pd.DataFrame], monkeypatch: pytest.MonkeyPatch
) -> None:
    path, frame = file
    monkeypatch.setattr(store, "HELD_BYTES", 10)
    units = PooledUnits(path, ("time", "x:a@0", "y:b"), 0)
    pd.testing.assert_frame_equal(units.read(["y:b"]), frame[[CLIENT, "y:b"]])
    path.unlink()
    with pytest.raises(FileNotFoundError):
        units.read(["y:b"])


def test_another_process_is_not_sent_what_is_held(file: tuple[Path, pd.DataFrame]) -> None:
    path, frame = file
    units = PooledUnits(path, ("time", "x:a@0", "y:b"), 0)
    before = len(pickle.dumps(units))
    units.read(["y:b"])
    sent = pickle.dumps(units)
    assert len(sent) == before
    pd.testing.assert_frame_equal(pickle.loads(sent).read(["y:b"]), frame[[CLIENT, "y:b"]])  # noqa: S301
