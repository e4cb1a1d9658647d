"""Settings are changed key by key: what cannot be read writes nothing, the rest stays as it was."""

from __future__ import annotations

import tomllib
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from miner.core.messages import MinerError
from miner.steps.settings import (
    change_client,
    change_practice,
    choices,
    client_file,
    count_again,
    leave_out,
    practice_file,
)

OWN = """# mine
code = "c"  # by hand
range = [70, 140]

[intake]
# asked on the phone
insulin = "no"

[[left_out]]
date = 2026-02-01
reason = "ill"  # the flu
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A client's folder with comments in its settings."""
    (tmp_path / "client.toml").write_text(OWN)
    return tmp_path


def told(folder: Path) -> str:
    return (folder / "client.toml").read_text()


def test_what_is_as_it_was_changes_not_a_byte(folder: Path) -> None:
    held = client_file(folder)
    change_client(folder, {key: getattr(held, key) for key in type(held).model_fields})
    assert told(folder) == OWN


def test_texts_of_a_form_become_values_of_the_file(folder: Path) -> None:
    low = {"start": "2026-02-10T03:00", "end": "2026-02-10T03:40"}
    change_client(
        folder,
        {
            "range": ["70", "150.0"],
            "calm": True,
            "sensor_changes": ["2026-02-05T08:30"],
            "pressure_lows": [low],
            "intake": {"insulin": "yes", "lows": "no"},
        },
    )
    read = tomllib.loads(told(folder))
    assert (read["range"], read["calm"]) == ([70, 150], True)
    assert read["sensor_changes"] == [datetime(2026, 2, 5, 8, 30)]
    assert read["pressure_lows"] == [{key: datetime.fromisoformat(on) for key, on in low.items()}]
    assert read["intake"] == {"insulin": "yes", "lows": "no"}
    for comment in ("# mine", "# by hand", "# asked on the phone", "# the flu"):
        assert comment in told(folder)
    change_client(folder, {"calm": None, "sensor_changes": None, "pressure_lows": []})
    assert read.keys() - tomllib.loads(told(folder)).keys() == {
        "calm",
        "sensor_changes",
        "pressure_lows",
    }


@pytest.mark.parametrize(
    "wrong",
    [{"range": ["a", "b"]}, {"time_zone": "Mars/Base"}, {"intake": {"insulin": "maybe"}}],
)
def test_a_value_that_cannot_be_used_writes_nothing(folder: Path, wrong: dict[str, Any]) -> None:
    with pytest.raises(MinerError):
        change_client(folder, {"code": "d"} | wrong)
    assert told(folder) == OWN


def test_a_day_is_left_out_and_counted_again(folder: Path) -> None:
    leave_out(folder, date(2026, 2, 3), "away")
    assert [item.reason for item in client_file(folder).left_out] == ["ill", "away"]
    count_again(folder, date(2026, 2, 3))
    assert [item.reason for item in client_file(folder).left_out] == ["ill"]
    assert "# the flu" in told(folder)
    count_again(folder, date(2026, 2, 1))
    assert "left_out" not in tomllib.loads(told(folder))


def test_words_of_a_practice_are_what_its_file_may_say(tmp_path: Path) -> None:
    for key in ("display_unit", "rank_unit"):
        for word in choices(key):
            change_practice(tmp_path, {key: word})
            assert getattr(practice_file(tmp_path), key) == word
    with pytest.raises(MinerError):
        change_practice(tmp_path, {"rank_unit": "week"})
