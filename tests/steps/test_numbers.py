"""Patterns by number: a number refers to the last ranking shown."""

from __future__ import annotations

from pathlib import Path

import pytest

from miner import ledger, steps
from miner.core.messages import MinerError
from miner.core.results.morning import ClientState
from miner.steps.numbers import number_of

IDS = ["4c28aa7c", "49b325ee", "12345678"]


def shown(folder: Path, ids: list[str], unit: str = "day") -> None:
    ledger.append(folder, "numbered", {"unit": unit, "ids": ids})


def test_a_number_is_that_of_the_last_ranking_shown(tmp_path: Path) -> None:
    shown(tmp_path, IDS)
    assert [steps.id_of_number(tmp_path, number) for number in ("1", " 2 ", "03")] == IDS
    shown(tmp_path, ["658ef86f"], "meal")
    assert steps.id_of_number(tmp_path, "1") == "658ef86f"


def test_a_pattern_is_typed_by_its_number_where_the_last_ranking_has_it(tmp_path: Path) -> None:
    assert number_of(tmp_path, IDS[1]) == IDS[1]
    shown(tmp_path, IDS)
    assert [number_of(tmp_path, id_) for id_ in IDS] == ["1", "2", "3"]
    state = ClientState("c", "clear", IDS[1], count=1, typed=number_of(tmp_path, IDS[1]))
    assert "--include 2 " in str(state.next("2026-03-01"))
    assert state.to_dict()["of"] == IDS[1]
    assert "typed" not in state.to_dict()
    shown(tmp_path, ["658ef86f"], "meal")
    assert number_of(tmp_path, IDS[1]) == IDS[1]


@pytest.mark.parametrize("id_", ["4c28aa7c", "12345678", "0000000a", "plan-3", "1e9x"])
def test_an_id_stays_an_id(tmp_path: Path, id_: str) -> None:
    assert steps.id_of_number(tmp_path, id_) == id_


@pytest.mark.parametrize("number", ["0", "99", "-1", "1.5", "+1", "4"])
def test_a_number_that_is_not_in_the_ranking_is_told_with_how_many_are(
    tmp_path: Path, number: str
) -> None:
    shown(tmp_path, IDS)
    with pytest.raises(MinerError) as raised:
        steps.id_of_number(tmp_path, number)
    assert raised.value.message == (
        f"The last ranking, of days, shows 3 patterns and none with the number {number}. "
        "Expected a whole number from 1 to 3, or an ID. "
        f"Use a number that miner rank {tmp_path} prints."
    )


def test_a_number_before_any_ranking_names_the_command_to_run(tmp_path: Path) -> None:
    with pytest.raises(MinerError) as raised:
        steps.id_of_number(tmp_path, "1")
    assert raised.value.message == (
        "1 is a number, and no ranking of this client has been shown yet. "
        "Expected the number of a pattern in the last ranking, or an ID. "
        f"Run this first: miner rank {tmp_path}."
    )


def test_a_number_after_a_ranking_without_patterns_is_told(tmp_path: Path) -> None:
    shown(tmp_path, [], "meal")
    with pytest.raises(MinerError, match="The last ranking, of meals, shows no pattern"):
        steps.id_of_number(tmp_path, "1")
