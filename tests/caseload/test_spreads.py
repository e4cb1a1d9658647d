"""The spread found across clients replaces the rule book's in that practice's shrinkage."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from miner import steps
from miner.caseload.store import NAME, SPREADS, Store, keep_spreads, practice_spreads
from miner.core.messages import message
from miner.core.results.caseload import Caseload
from miner.hypotheses.describe import foreseen
from miner.hypotheses.guard import Judged

PAIR = ("short_sleep", "wake_glucose")


@pytest.fixture
def used(monkeypatch: pytest.MonkeyPatch) -> dict[tuple[str, str], float | None]:
    """Which spread the size expected of each single habit was worked out with."""
    spreads: dict[tuple[str, str], float | None] = {}

    def noted(judged: Judged, spread: float | None = None) -> tuple[float | None, bool]:
        test = judged.test
        spreads[test.target.items[test.rule.items[0]].factor, test.target.name] = spread
        return foreseen(judged, spread)

    monkeypatch.setattr("miner.hypotheses.describe.foreseen", noted)
    return spreads


# What comes of it is proven in tests/hypotheses/test_describe.py.
def test_the_spread_found_is_used_by_ranking_and_by_one_question(
    small: Path, found: Caseload, used: dict[tuple[str, str], float | None]
) -> None:
    client = steps.read_client(small / "client-01")
    before = {item.id: item for item in steps.rank(client, remember=False).hypotheses}
    assert used[PAIR] is None
    keep_spreads(Store(small / NAME), found)

    ranking = steps.rank(client, remember=False)

    assert message("steps.spreads_used") in ranking.notes
    assert used[PAIR] == found.spreads()[PAIR]
    item = next(item for item in ranking.hypotheses if (item.factors[0], item.outcome) == PAIR)
    assert item.p_adjusted == before[item.id].p_adjusted
    used.clear()
    steps.ask(client, *PAIR, remember=True)
    assert used[PAIR] == found.spreads()[PAIR]


def test_other_spreads_can_be_given(small: Path, found: Caseload) -> None:
    keep_spreads(Store(small / NAME), found)
    client = steps.read_client(small / "client-01")
    assert message("steps.spreads_used") not in steps.rank(client, remember=False, spreads={}).notes


def test_what_is_kept_is_read_for_its_unit_alone(small: Path, found: Caseload) -> None:
    assert practice_spreads(small / "client-01", "day") == {}
    keep_spreads(Store(small / NAME), found)
    assert practice_spreads(small / "client-01", "day") == found.spreads()
    assert practice_spreads(small / "client-01", "meal") == {}


def test_a_file_that_cannot_be_read_is_none(small: Path) -> None:
    store = Store(small / NAME)
    for content in ("", "[]", '{"unit": "day"}', '{"unit": "day", "spreads": [["a", "b", "x"]]}'):
        store.write(SPREADS, content.encode())
        assert practice_spreads(small / "client-01", "day") == {}
    store.write(SPREADS, json.dumps({"unit": "day", "spreads": [["a", "b", -1.0]]}).encode())
    assert practice_spreads(small / "client-01", "day") == {}


def test_below_twenty_clients_nothing_is_kept(small: Path, found: Caseload) -> None:
    keep_spreads(Store(small / NAME), found)
    assert (small / NAME / SPREADS).is_file()
    few = steps.pool(small)
    assert few.spreads() == {}
    assert not (small / NAME / SPREADS).exists()
