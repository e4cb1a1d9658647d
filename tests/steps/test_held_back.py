"""What a caution holds back is refused alike, whichever way it is asked for."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from miner import ledger, steps
from miner.core.messages import MinerError
from miner.records.client import Client
from miner.rulebook import RuleBook

NOTED = date(2026, 3, 1)
WAYS: dict[str, Callable[[Client, str, steps.Wish, RuleBook], object]] = {
    "plan": lambda client, id_, wish, rules: steps.plan(client, id_, wish, rules),
    "preview": lambda client, id_, wish, rules: steps.plan(client, id_, wish, rules, preview=True),
    "keep to test": lambda client, id_, _, rules: steps.keep(client, id_, "alternate", rules),
    "keep to do": lambda client, id_, _, rules: steps.keep(client, id_, "adopt", rules),
    "choose to test": lambda client, id_, _, rules: steps.choose(client, {id_: "test"}, rules),
    "choose to do": lambda client, id_, _, rules: steps.choose(client, {id_: "anyway"}, rules),
}


@pytest.fixture(scope="module")
def rules() -> RuleBook:
    """The rule books, with late dinners a thing to change in any case."""
    books = steps.load_rules(None, Path("client"))
    late = books.factors["late_dinner"].model_copy(update={"worth_doing_anyway": True})
    return books.model_copy(update={"factors": dict(books.factors) | {"late_dinner": late}})


@pytest.fixture
def dinner(folder: Path, rules: RuleBook) -> tuple[Path, str, steps.Wish]:
    """A client on insulin, the pattern that is true of it, and when its test would begin."""
    (folder / "client.toml").open("a", encoding="utf-8").write('[intake]\ninsulin = "yes"\n')
    client = steps.read_client(folder)
    found = steps.rank(client, rules, remember=False).hypotheses
    wanted = (("late_dinner",), "overnight_mean")
    id_ = next(one.id for one in found if (one.factors, one.outcome) == wanted)
    last = date.fromisoformat(str(steps.days(client).frame["date"].iloc[-1]))
    return folder, id_, steps.Wish(last + timedelta(days=3))


@pytest.mark.parametrize("way", WAYS)
def test_each_way_names_the_caution_and_what_lifts_it(
    dinner: tuple[Path, str, steps.Wish], rules: RuleBook, way: str
) -> None:
    folder, id_, wish = dinner
    for lift, command in (
        ("informed", "--informed DATE."),
        ("agreed", "--agreed DATE --covers sleep,meals."),
    ):
        with pytest.raises(MinerError) as told:
            WAYS[way](steps.read_client(folder), id_, wish, rules)
        assert told.value.code == f"followup.held_{lift}"
        asked = "change" if way.endswith("to do") else "test"
        said = f"No {asked} about meals can be planned yet: yes to insulin"
        assert said in told.value.message
        assert told.value.message.endswith(f"miner note {folder} {command}")
        steps.note_clinician(folder, informed=NOTED, agreed=NOTED, covers=["sleep"])
    steps.note_clinician(folder, agreed=NOTED, covers=["meals"])
    WAYS[way](steps.read_client(folder), id_, wish, rules)


def test_watching_asks_nothing_of_the_client(
    dinner: tuple[Path, str, steps.Wish], rules: RuleBook
) -> None:
    folder, id_, _ = dinner
    assert steps.keep(steps.read_client(folder), id_, "watch", rules).status == "waiting"
    assert [one.event for one in ledger.read(folder).events][-1] == "kept"
