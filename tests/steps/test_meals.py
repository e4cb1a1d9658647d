"""Meals from files: ranked and asked by the same engine, behind an entry, and in pairs."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from miner import steps
from miner.core import resources
from miner.core.messages import MinerError
from miner.core.results import Evidence

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A client of forty days in whom a walk after dinner takes 30 % off the rise."""
    home = tmp_path_factory.mktemp("practice") / "client-01"
    invented = resources.invented()
    effect = invented.Effect("walk_after_dinner", "rise", -0.3)
    habits = invented.usual_habits()
    habits |= dict.fromkeys(("walk_after_breakfast", "walk_after_lunch"), invented.Habit(0.0))
    invented.write_client(
        home, invented.Scenario("client-01", 40, seed=2, effects=(effect,), habits=habits)
    )
    return home


def test_a_walk_after_dinner_is_found_and_a_second_look_yields_no_claim(folder: Path) -> None:
    client = steps.read_client(folder)
    ranking = steps.rank(client, unit="meal", draws=499, remember=False)
    assert (ranking.unit, ranking.primary_outcome, ranking.status) == ("meal", "rise", "ranked")
    names = [item.name for item in ranking.outcomes]
    assert names == ["rise", "area_2h", "peak", "minutes_above"]
    best = [item.rank for item in ranking.hypotheses if item.factors == ("walk_after",)]
    assert min(best) <= 4
    assert not [item for item in ranking.hypotheses if item.evidence is Evidence.CLEAR]
    first = ranking.hypotheses[0]
    known = first.counts.known + first.counts.unknown
    outcome = next(item for item in ranking.outcomes if item.name == first.outcome)
    assert known == outcome.units
    why = steps.why(client, first.id, remember=True)
    used = [item for item in why.units if item.used]
    assert len(used) == first.counts.known
    assert all(item.places for item in used)


def test_a_practice_that_ranks_meals_may_claim(folder: Path) -> None:
    (folder.parent / "practice.toml").write_text('rank_unit = "meal"\n')
    ranking = steps.rank(steps.read_client(folder), draws=499, remember=False)
    (folder.parent / "practice.toml").unlink()
    clear = [item for item in ranking.hypotheses if item.evidence is Evidence.CLEAR]
    assert any(item.factors == ("walk_after",) for item in clear)
    assert all(item.difference < 0 for item in clear if item.factors == ("walk_after",))


def test_a_question_by_meal_is_fixed_and_answered_apart_from_one_by_day(
    folder: Path, tmp_path: Path
) -> None:
    own = tmp_path / "client-01"
    own.mkdir()
    for path in folder.glob("*.csv"):
        (own / path.name).write_bytes(path.read_bytes())
    client = steps.read_client(own)
    for outcome in ("minutes_above", "meal.minutes_above"):
        steps.fix_question(
            client, "tag:wine", outcome, fixed_on=datetime(2026, 1, 1, tzinfo=UTC).date(), now=NOW
        )
    with pytest.raises(MinerError, match="is already written down"):
        steps.fix_question(client, "tag:wine", "meal.minutes_above", now=NOW)
    by_day = steps.ask(client, "tag:wine", "minutes_above", remember=True)
    by_meal = steps.ask(client, "tag:wine", "meal.minutes_above", remember=True)
    assert by_day.outcome == by_meal.outcome == "minutes_above"
    assert by_day.id != by_meal.id
    assert by_day.fixed_before
    assert by_meal.fixed_before
    for unit in ("day", "meal"):
        ranking = steps.rank(client, unit=unit, draws=199, remember=False)
        fixed = [item.id for item in ranking.hypotheses if item.family == "fixed"]
        assert fixed == [{"day": by_day.id, "meal": by_meal.id}[unit]]
    with pytest.raises(MinerError, match="walk_after"):
        steps.ask(client, "walk_after", "wake_glucose", remember=True)


def test_pairs_of_meals_and_what_is_said_of_them(folder: Path) -> None:
    found = steps.compare_meals(steps.read_client(folder), "walk_after", remember=True)
    assert len(found.pairs) >= 5
    assert found.lower + found.higher <= len(found.pairs)
    apart = [pair.with_.value - pair.without.value for pair in found.pairs]
    assert found.middle_difference == pytest.approx(float(np.median(apart)))
    assert found.middle_difference < 0
    units = [side.unit for pair in found.pairs for side in (pair.with_, pair.without)]
    assert len(units) == len(set(units))
    for pair in found.pairs:
        minutes = [minute for minute, _ in pair.with_.curve]
        assert min(minutes) >= -15
        assert max(minutes) <= 120
        before = [above for minute, above in pair.with_.curve if minute <= 5]
        assert abs(np.median(before)) <= 1e-6
    assert "no test" not in str(found.sentence)
    assert any("for looking at" in note for note in map(str, found.notes))
    assert found.repeats.pairs > 10
    with pytest.raises(MinerError, match="Did you mean 'walk_after'"):
        steps.compare_meals(steps.read_client(folder), "walk_aftr", remember=True)


def test_the_spread_of_repeats_is_that_of_their_differences(folder: Path) -> None:
    client = steps.read_client(folder)
    found = steps.repeats(steps.meals(client))
    # The generator draws the rise of a main meal with SD 9 mg/dL about what its carbohydrate
    # gives (at most 15 g, 4.5 mg/dL, apart here), so two of them differ by about 13 to 16.
    assert 10 <= found.spread <= 19


def test_a_habit_of_one_meal_of_the_day_compares_meals_of_that_kind(folder: Path) -> None:
    client = steps.read_client(folder)
    dinners, every = (
        steps.compare_meals(client, name) for name in ("walk_after_dinner", "walk_after")
    )
    assert dinners.factor == every.factor == "walk_after"
    assert {pair.with_.meal for pair in dinners.pairs} == {"dinner"}
    assert {pair.without.meal for pair in dinners.pairs} == {"dinner"}
    # nobody walks after another meal in these records
    assert dinners.with_ == every.with_
    assert dinners.without < every.without
    assert str(dinners.notes[0]) == "Only meals noted as dinner are compared."
    assert str(every.notes[0]).startswith("The same meal twice differs by about ")
    with pytest.raises(MinerError, match="Did you mean 'walk_after'"):
        steps.compare_meals(client, "walk_aftr")
