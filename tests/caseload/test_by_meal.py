"""A caseload by meal, beside the same by day."""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from miner import steps
from miner.caseload.fitting import questions, read_usable, unit_rows
from miner.caseload.store import (
    CLIENT,
    NAME,
    SPREADS,
    PooledUnits,
    Store,
    folder_of_unit,
    pooled_before,
    practice_spreads,
)
from miner.core import resources
from miner.core.results import Evidence, Shape
from miner.core.results.caseload import Caseload
from miner.hypotheses.design import design
from miner.steps.caseload import pool

SLOPE = 1.0
GRAMS = dict.fromkeys(("breakfast", "lunch", "dinner"), (15.0, 105.0))
pytestmark = pytest.mark.prove
CLIENTS = 5


def only(book: str, names: tuple[str, ...]) -> str:
    """Return a shipped rule book with these tables alone."""
    text = (resources.folder("rules") / f"{book}.toml").read_text(encoding="utf-8")
    tables = re.split(r"(?m)^(?=\[)", text)
    return "".join(part for part in tables if re.match(rf"\[({'|'.join(names)})[\].]", part))


@pytest.fixture(scope="module")
def eaters(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five clients whose rise is 1 mg/dL a gram of carbohydrate, whichever meal it is."""
    invented = resources.invented()
    folder = tmp_path_factory.mktemp("meals") / "practice"
    (folder / "rules").mkdir(parents=True)
    names = ("short_sleep", "high_carb", "late_meal")
    for book, tables in (("factors", names), ("outcomes", ("wake_glucose", "rise"))):
        text = only(book, tables)
        (folder / "rules" / f"{book}.toml").write_text(text, encoding="utf-8")
    snacks = ("snack", "carb_only_snack", "evening_snack")
    habits = invented.usual_habits() | dict.fromkeys(snacks, invented.Habit(0.0))
    for k in range(CLIENTS):
        scenario = invented.Scenario(
            f"client-{k + 1}",
            days=21,
            seed=k,
            carb_slope=SLOPE,
            grams=GRAMS,
            habits=habits,
            pooled=True,
            cadence=15,
        )
        invented.write_client(folder / scenario.code, scenario)
    (folder / "practice.toml").write_text('rank_unit = "day"\n', encoding="utf-8")
    return folder


@dataclass(frozen=True)
class Both:
    """A practice that was pooled by meal first and then by day."""

    folder: Path
    pooled_before: tuple[bool, bool]
    meals: Caseload
    days: Caseload


@pytest.fixture(scope="module")
def both(eaters: Path, tmp_path_factory: pytest.TempPathFactory) -> Both:
    folder = tmp_path_factory.mktemp("both") / "practice"
    shutil.copytree(eaters, folder)
    before = pooled_before(folder, "client-1")
    meals = pool(folder, unit="meal", draws=100)
    after = pooled_before(folder, "client-1")
    return Both(folder, (before, after), meals, pool(folder, draws=100))


@pytest.fixture
def by_meal(both: Both) -> Caseload:
    return both.meals


@pytest.fixture
def copy(both: Both, tmp_path: Path) -> Path:
    shutil.copytree(both.folder, tmp_path / "practice")
    return tmp_path / "practice"


def test_carbohydrate_is_told_as_a_dose_and_its_slope_is_the_planted_one(
    by_meal: Caseload,
) -> None:
    effect = {(item.factor, item.outcome): item for item in by_meal.pooled}["high_carb", "rise"]
    assert (effect.shape, effect.evidence) == (Shape.DOSE, Evidence.CLEAR)
    assert effect.per is not None
    assert (effect.per.amount, effect.per.unit, effect.per.towards) == (10.0, "g", "more")
    assert effect.difference is not None
    assert effect.two_stage.standard_error is not None
    assert abs(effect.difference - 10 * SLOPE) < 3 * effect.two_stage.standard_error
    # amounts between 15 and 105 g, each as likely: quarters 45 g, so 4.5 times 10 g, apart
    assert effect.per.span == pytest.approx(4.5, rel=0.25)
    assert str(effect.sentence).startswith(f"Across {CLIENTS} clients, the rise after the meal was")
    assert "larger after each 10 g more carbohydrate" in str(effect.sentence)
    assert {row.unit for row in by_meal.clients} == {"meal"}


def test_a_habit_made_of_the_carbohydrate_is_tested_without_it(eaters: Path) -> None:
    client = steps.read_client(eaters / "client-1")
    rules = steps.load_rules(None, client.folder)
    table = steps.meals(client, rules)
    rows = unit_rows(table, design(table, rules))
    assert any(name.startswith("n:carbohydrate") for name in rows)

    class Held:
        columns = tuple(rows.columns)

        def read(self, names: list[str]) -> object:
            return rows.assign(**{CLIENT: 0})[[CLIENT, *names]]

    held: PooledUnits = Held()  # type: ignore[assignment]
    counted = {}
    for question in questions(held.columns, rules, "meal"):
        for shape in Shape:
            left = read_usable(held, question, rules.guardrails, "meal", shape)
            counted[question.factor, shape] = left.nuisance.shape[1]
    with_grams = sum(name.startswith("n:") for name in rows)
    grams = sum(name.startswith("n:carbohydrate") for name in rows)
    assert counted["late_meal", Shape.DOSE] == counted["late_meal", Shape.CUT] == with_grams
    assert counted["high_carb", Shape.DOSE] == counted["high_carb", Shape.CUT] == with_grams - grams


def test_days_and_meals_are_kept_apart(both: Both, copy: Path) -> None:
    days, meals = both.days, both.meals
    assert (days.unit, meals.unit) == ("day", "meal")
    second = [
        any("second look" in note for note in map(str, found.notes)) for found in (days, meals)
    ]
    assert second == [False, True]
    told = [str(item) for row in meals.clients for item in row.attention]
    assert not any("second look" in text for text in told)
    assert {row.clear for row in meals.clients} == {0}
    kept = sorted(path.name for path in (copy / NAME).rglob("*.parquet"))
    assert len(kept) == 2 * CLIENTS
    assert pool(copy, draws=100).to_dict() == days.to_dict()
    assert {item.outcome for item in days.pooled}.isdisjoint(item.outcome for item in meals.pooled)


def test_a_client_pooled_by_meal_alone_was_pooled(both: Both) -> None:
    assert both.pooled_before == (False, True)


def test_the_other_unit_forgets_who_is_gone_or_withdrew(copy: Path) -> None:
    home = folder_of_unit(copy / NAME, "meal")
    Store(home).write(SPREADS, b'{"unit": "meal", "spreads": [["high_carb", "rise", 9.0]]}')
    assert practice_spreads(copy / "client-1", "meal") == {("high_carb", "rise"): 9.0}
    assert len(list(home.rglob("*-fit.json"))) > 0
    shutil.rmtree(copy / "client-2")
    path = copy / "client-3" / "client.toml"
    path.write_text(path.read_text("utf-8").replace("pooled = true", "pooled = false"), "utf-8")
    pool(copy, draws=100)
    assert len(list(home.rglob("*.parquet"))) == CLIENTS - 2
    assert list(home.rglob("*-fit.json")) == []
    assert practice_spreads(copy / "client-1", "meal") == {}
