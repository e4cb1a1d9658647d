"""The spread found across clients replaces the rule book's in that practice's shrinkage."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm
from scipy.stats import t as student

from miner import api
from miner.api.spreads import SPREADS_USED, keep_spreads, practice_spreads
from miner.caseload.store import NAME, SPREADS, Store
from miner.results import Hypothesis
from miner.results.caseload import Caseload

PAIR = ("short_sleep", "wake_glucose")


def posterior_mean(item: Hypothesis, spread: float) -> float:
    """Bayes' rule on a grid: a normal around 0, seen with an error of Student's t (scipy)."""
    assert item.difference is not None
    assert item.standard_error is not None
    assert item.degrees_of_freedom is not None
    grid = np.linspace(-12, 12, 48001) * spread
    seen = student.pdf((item.difference - grid) / item.standard_error, item.degrees_of_freedom)
    weight = seen * norm.pdf(grid / spread)
    return float((grid * weight).sum() / weight.sum())


def test_the_spread_found_is_used_by_ranking_and_by_one_question(
    small: Path, found: Caseload
) -> None:
    client = api.read_client(small / "client-01")
    before = {item.id: item for item in api.rank(client, keep=False).hypotheses}
    keep_spreads(Store(small / NAME), found)

    ranking = api.rank(client, keep=False)

    spread = found.spreads()[PAIR]
    assert SPREADS_USED in ranking.notes
    item = next(item for item in ranking.hypotheses if (item.factors[0], item.outcome) == PAIR)
    expected = posterior_mean(item, spread / item.span)
    assert item.expected_on_new_days == pytest.approx(expected, rel=1e-6)
    assert item.expected_on_new_days != before[item.id].expected_on_new_days
    assert item.p_adjusted == before[item.id].p_adjusted
    asked = api.ask(client, *PAIR)
    own = posterior_mean(asked, spread / asked.span)
    assert asked.expected_on_new_days == pytest.approx(own, rel=1e-6)


def test_other_spreads_can_be_given(small: Path, found: Caseload) -> None:
    keep_spreads(Store(small / NAME), found)
    client = api.read_client(small / "client-01")
    assert SPREADS_USED not in api.rank(client, keep=False, spreads={}).notes


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
    few = api.pool(small)
    assert few.spreads() == {}
    assert not (small / NAME / SPREADS).exists()
