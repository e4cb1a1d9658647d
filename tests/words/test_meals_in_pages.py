"""Meals in the pages, what came of what was kept, and the picture behind a dot."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.results import Evidence, Hypothesis, PairsTest, PlanResult, Wording, worded
from miner.core.results.briefing import KINDS, Briefing, PageChoices
from miner.core.results.follow import KeptResult, NewUnits
from miner.render.pages import LANES
from miner.rulebook import RuleBook
from miner.steps.pages import briefing

Render = Callable[..., str]

CLIENT_PAGES = ("session", "take-home")


@pytest.fixture(scope="module")
def chosen(brief: Briefing) -> Hypothesis:
    """A walk after the meal with the rise, by meal."""
    assert brief.by_meal is not None
    return next(
        item
        for item in brief.by_meal.hypotheses
        if item.factors == ("walk_after",) and item.outcome == "rise"
    )


@pytest.fixture(scope="module")
def mealy(folder: Path, rules: RuleBook, chosen: Hypothesis) -> Briefing:
    """What is known of that client, a hypothesis by meal chosen."""
    return briefing(
        steps.read_client(folder), rules, choices=PageChoices(include=[chosen.id]), remember=False
    )


def words(page: str, page_text: ModuleType) -> str:
    return " ".join(page_text.seen(page))


def test_meals_are_a_second_look_that_is_the_same_as_ranking_them(
    mealy: Briefing, folder: Path, rules: RuleBook
) -> None:
    alone = steps.rank(
        steps.read_client(folder), rules, unit="meal", remember=False, together=False
    )
    assert mealy.by_meal == alone
    assert not [item for item in alone.hypotheses if item.evidence is Evidence.CLEAR]
    ids = {item.id for item in mealy.ranking.hypotheses}
    assert not ids & {item.id for item in alone.hypotheses}


def test_a_page_that_looks_at_meals_counts_as_a_ranking_of_them(
    folder: Path, rules: RuleBook, tmp_path: Path
) -> None:
    import shutil

    own = tmp_path / "client"
    shutil.copytree(folder, own)
    client = steps.read_client(own)
    for _ in range(2):
        told = briefing(client, rules, remember=True)
        assert told.ranking.rankings_of_these_records == 2
    entries = [json.loads(line) for line in (own / "ledger.jsonl").read_text("utf-8").splitlines()]
    units = [event["unit"] for event in entries if event["event"] == "ranked"]
    assert sorted(units) == ["day", "meal"]


def test_a_practice_by_meal_has_no_second_look_in_its_pages(folder: Path, rules: RuleBook) -> None:
    client = steps.read_client(folder)
    by_meal = replace(client, settings=replace(client.settings, rank_unit="meal"))
    assert briefing(by_meal, rules, remember=False).by_meal is None


def test_an_id_of_neither_is_refused(folder: Path, rules: RuleBook, chosen: Hypothesis) -> None:
    almost = chosen.id[:-1] + ("0" if chosen.id[-1] != "0" else "1")
    with pytest.raises(MinerError, match=f"Did you mean '{chosen.id}'"):
        briefing(
            steps.read_client(folder), rules, choices=PageChoices(include=[almost]), remember=False
        )


def test_a_page_says_what_every_meal_is_allowed_for(
    mealy: Briefing, rules: RuleBook, page_text: ModuleType, render: Render
) -> None:
    """All that the design takes out, but for the carbohydrate of a habit that is made from it."""
    assert mealy.by_meal is not None
    for factor, said in (
        ("walk_after", rules.wording["card"]["meals"]),
        ("high_carb", rules.wording["card"]["meals_own"]),
    ):
        item = next(
            each
            for each in mealy.by_meal.hypotheses
            if each.factors == (factor,) and each.outcome == "rise"
        )
        assert said in words(render(mealy, "session", rules, [item.id]), page_text)
        assert "which meal it was" in said
        assert "where your glucose began" in said
        assert ("carbohydrate" in said) == (factor == "walk_after")


def test_a_hypothesis_by_meal_is_shown_with_its_dots_where_it_was_chosen(
    mealy: Briefing, rules: RuleBook, chosen: Hypothesis, page_text: ModuleType, render: Render
) -> None:
    page = render(mealy, "session", rules, [chosen.id])
    text = words(page, page_text)
    assert f"{chosen.counts.with_high} of {chosen.counts.with_} meals with a walk" in text
    assert f"{chosen.counts.without_high} of the other {chosen.counts.without}." in text
    (wide, narrow) = re.findall(
        r'<svg[^>]*aria-label="Rise after the meal, a mark a meal\.".*?</svg>', page
    )
    for figure in (wide, narrow):
        assert figure.count('class="mark"') == chosen.counts.known + chosen.counts.unknown
        assert figure.count('data-at="') == figure.count('class="mark"')
        assert f">{chosen.counts.with_} meals with a walk after them<" in figure
    for kind in ("take-home", "doctor"):
        shown = words(render(mealy, kind, rules, [chosen.id]), page_text)
        assert "walk after the" in shown or "walk after them" in shown


def test_a_lineup_of_meals_holds_the_recorded_ones_among_nineteen(
    folder: Path, rules: RuleBook, chosen: Hypothesis, brief: Briefing, render: Render
) -> None:
    by_day = next(iter(brief.lineups))
    client = steps.read_client(folder)
    told = briefing(
        client, rules, choices=PageChoices(include=[by_day, chosen.id], lineup=True), remember=False
    )
    assert set(told.lineups) == {by_day, chosen.id}
    found = told.lineups[chosen.id]
    real = {unit.unit: unit.outcome for unit in told.whys[chosen.id].units if unit.used}
    assert len(real) == chosen.counts.known
    panels = [dict(zip(found.units, panel, strict=True)) for panel in found.panels]
    assert len(panels) == 20
    same = [all(panel[unit] == value for unit, value in real.items()) for panel in panels]
    assert [at for at, is_same in enumerate(same) if is_same] == [found.real]
    page = render(told, "session", rules, [by_day, chosen.id])
    assert page.count("Which of these is yours?") == 2
    assert page.count(">Which one is yours?<") == 2


def test_nothing_found_by_meal_is_shown_unless_it_was_chosen(
    brief: Briefing, rules: RuleBook, page_text: ModuleType, render: Render
) -> None:
    assert brief.by_meal is not None
    for kind in CLIENT_PAGES:
        page = render(brief, kind, rules)
        text = words(page, page_text).casefold()
        for item in brief.by_meal.hypotheses:
            assert item.id not in page
            assert item.sentence.casefold() not in text
            assert not [n for n in item.factors if rules.factor(n, "meal").phrase in text]
    page = render(brief, "preparation", rules)
    assert all(item.id in page for item in brief.by_meal.hypotheses)


def test_pairs_stand_beside_a_habit_by_meal_in_the_same_counts(
    mealy: Briefing, rules: RuleBook, chosen: Hypothesis, page_text: ModuleType, render: Render
) -> None:
    found = mealy.pairs[chosen.id]
    assert len(found.pairs) >= 5
    for kind in ("session", "preparation"):
        page = render(mealy, kind, rules, [chosen.id])
        text = words(page, page_text)
        assert f"{len(found.pairs)} pairs of similar meals with and without a walk" in text
        assert f"lower with it in {found.lower}, higher in {found.higher}" in text
        assert "To look at them is not a test." in text
        assert "miner ask" not in text
        assert 'aria-label="Rise after the meal of similar meals without and with it' in page
    other = render(replace(mealy, display_unit="mmol/L"), "session", rules, [chosen.id])
    assert "mg/dL" not in other


def test_food_by_meal_is_not_named_beside_what_was_chosen(
    mealy: Briefing, rules: RuleBook, chosen: Hypothesis, page_text: ModuleType, render: Render
) -> None:
    assert mealy.by_meal is not None
    foods = [item for item in mealy.by_meal.hypotheses if item.factors[0].startswith("food:")]
    assert foods
    name = foods[0].factors[0]
    phrase = rules.factor(name, "meal").phrase
    note = message("hypotheses.rose_and_fell", factor=name, other=phrase, unit="meal")
    told = replace(chosen, travels_with=(name, "high_carb"), notes=(note,))
    by_meal = replace(
        mealy.by_meal,
        hypotheses=tuple(told if i.id == told.id else i for i in mealy.by_meal.hypotheses),
    )
    page = render(replace(mealy, by_meal=by_meal), "session", rules, [chosen.id])
    text = words(page, page_text)
    assert "What came along with it?" not in text
    assert "as one" not in text
    assert phrase not in text
    assert rules.factor("high_carb", "meal").phrase not in text


def test_the_calm_page_has_no_number_of_meals_pairs_or_times(
    mealy: Briefing, rules: RuleBook, chosen: Hypothesis, page_text: ModuleType, render: Render
) -> None:
    for kind in CLIENT_PAGES:
        page = render(replace(mealy, calm=True), kind, rules, [chosen.id])
        text = re.sub(r"\d+ (Jan|Feb)\w*( 2026)?", "", words(page, page_text))
        assert "<svg" not in page
        assert "application/json" not in page
        assert "pairs of" not in text
        assert not re.search(r"\d", text.replace(mealy.client, ""))
        assert "By time of day" not in page


@pytest.mark.parametrize("kind", ["session", "preparation"])
def test_the_readings_stand_by_time_of_day(
    mealy: Briefing, rules: RuleBook, kind: str, page_text: ModuleType, render: Render
) -> None:
    text = words(render(mealy, kind, rules), page_text)
    for item in mealy.times:
        assert item.spread is not None
        low, quarter, middle, three, high = (f"{value:.0f}" for value in item.spread)
        name, half = item.name.capitalize(), f"{middle} {quarter} to {three}"
        if kind == "session":
            assert f"{name} {middle}" in text
            continue
        row = f"{item.days} {half} {low} to {high}"
        assert re.search(rf"{name} {item.first_hour:02d}:00 to .*?{row}", text)


def test_the_picture_behind_a_dot_holds_what_was_recorded_but_names_food_to_nobody_else(
    mealy: Briefing, rules: RuleBook, folder: Path, render: Render
) -> None:
    def held(kind: str) -> dict[str, Any]:
        page = render(mealy, kind, rules)
        found = re.search(r'<script type="application/json" id="curves">(.*?)</script>', page)
        assert found is not None
        return dict(json.loads(found[1]))

    own, clients = held("preparation"), held("session")
    meals = (folder / "meals.csv").read_text("utf-8").splitlines()[1:]
    lane = LANES.index("meals")
    for data in (own, clients):
        assert sum(note[0] == lane for note in data["notes"]) == len(meals)
        assert {note[0] for note in data["notes"]} == set(range(len(LANES)))
    assert all(len(note) == 3 for note in clients["notes"])
    named = [note[3] for note in own["notes"] if note[0] == lane]
    assert sorted(text.partition(",")[0] for text in named) == sorted(
        line.split(",")[1] for line in meals
    )
    first = min(note[1] for note in own["notes"] if note[0] == lane)
    start = mealy.series.start
    minutes = int(meals[0][11:13]) * 60 + int(meals[0][14:16])
    begun = int(start[11:13]) * 60 + int(start[14:16])
    days = int(meals[0][8:10]) - int(start[8:10])
    assert first == days * 1440 + minutes - begun


def kept(**changes: Any) -> KeptResult:
    known: dict[str, Any] = {
        "id": "4c28aa7c", "as_": "watch", "kept_on": "2026-03-01",
        "suggested_by_days_to": "2026-02-28", "read_on": "2026-03-28", "new_units": 25,
        "status": "held_up", "difference": 6.5, "interval": (1.5, 11.5), "p": 0.01,
        "p_adjusted": 0.01, "factors": ("short_sleep",),
        "lag_days": (0,), "outcome": "wake_glucose", "unit_of": "day", "unit": "mg/dL",
        "direction": "up", "expected": 9.0, "smallest_worth_it": 5.0,
        "counts": NewUnits(25, 8, 16, 1), "open": False,
    }  # fmt: skip
    return KeptResult(**(known | changes))


def plan_result(**changes: Any) -> PlanResult:
    known: dict[str, Any] = {
        "plan": "p1", "status": "changed", "difference": -7.0, "interval": (-11.0, -3.0),
        "p": 0.03, "pairs_used": 6, "pairs_not_followed": 0,
        "as_followed": PairsTest(6, -7.0, (-11.0, -3.0), 0.03),
        "id": "4c28aa7c", "factor": "short_sleep",
        "outcome": "wake_glucose", "unit": "mg/dL", "unit_of": "day", "worth_having": 5.0,
        "read_on": "2026-05-01", "planned_pairs": 6,
    }  # fmt: skip
    return PlanResult(**(known | changes))


def test_what_was_kept_stands_before_anything_new_with_what_came_of_it(
    brief: Briefing, rules: RuleBook, page_text: ModuleType, render: Render
) -> None:
    told = tuple(
        worded(item, Wording(rules))
        for item in (
            kept(),
            kept(id="75887c2e", as_="alternate", status=None, test=plan_result()),
        )
    )
    page = page_text.seen(render(replace(brief, kept=told), "preparation", rules))
    at = page.index("What we kept last time, and what came of it")
    assert at < min(
        k for k, text in enumerate(page) if text.startswith(("Clear enough", "Hints", "Fixed"))
    )
    assert page.index("Before anything else") < at < page.index(brief.ranking.verdict)
    part = " ".join(page[at:])
    assert "Short nights, then higher waking glucose 4c28aa7c, to watch, closed" in part
    assert "It held up on new days." in part
    assert "about 6 mg/dL higher (2 to 12 higher) " in part
    assert "About 9 mg/dL higher was expected." in part
    assert "It changed when the client tested it." in part
    assert "about 7 mg/dL lower" in part
    # what came of it, then when it was kept, with dates as people write them
    assert part.index("about 7 mg/dL lower") < part.index(
        "to be tested, suggested by days up to 28 Feb"
    )
    assert "Kept on 1 March 2026 to watch, suggested by days up to 28 February 2026." in part
    empty = page_text.seen(render(brief, "preparation", rules))
    assert "What we kept last time, and what came of it" not in empty


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("calm", [False, True])
def test_an_idea_that_was_judged_before_says_so_where_it_is_shown(
    brief: Briefing, rules: RuleBook, kind: str, calm: bool, page_text: ModuleType, render: Render
) -> None:
    said = "It held up on new days."
    item = next(i for i in brief.ranking.hypotheses if i.id == "4c28aa7c")
    tried = replace(item, tried_before="held_up")
    hypotheses = tuple(tried if i.id == item.id else i for i in brief.ranking.hypotheses)
    told = replace(brief, calm=calm, ranking=replace(brief.ranking, hypotheses=hypotheses))
    assert said in words(render(told, kind, rules, [item.id]), page_text)
    assert said not in words(render(replace(brief, calm=calm), kind, rules, [item.id]), page_text)


def test_of_many_days_to_ask_about_the_high_ones_come_first_and_the_rest_is_folded(
    brief: Briefing, rules: RuleBook, page_text: ModuleType, render: Render
) -> None:
    day = next(day for day in brief.days if day.usable)
    dates = [f"2026-01-{k:02d}" for k in range(1, 31)]
    days = tuple(
        replace(day, day=date, high=k >= 27, meals=2 * (k != 29), tags=0, unlogged_rises=1)
        for k, date in enumerate(dates)
    )
    text = page_text.seen(render(replace(brief, days=days), "preparation", rules))
    at = text.index("Ask the client")
    assert text[at + 1 : at + 4] == [
        "Fri 30 January: high, and nothing was noted.",
        "Wed 28 January, high: 1 rise with no meal noted (2 meals and 0 tags noted).",
        "Thu 29 January, high: 1 rise with no meal noted (2 meals and 0 tags noted).",
    ]
    assert text[at + 4] == "27 more days with a rise and no meal noted"
