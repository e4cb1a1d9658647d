"""What is gathered for the pages: meals, fixed questions and their own days, days left out."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from miner import rulebook, steps
from miner.core import resources
from miner.core.results.briefing import KINDS, SHARED_KINDS
from miner.render.drawn import Studio
from miner.render.pages import render
from miner.rulebook import RuleBook
from miner.words.teller import Teller


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    practice = tmp_path_factory.mktemp("practice")
    invented = resources.invented()
    scenario = invented.demo_scenarios()[0]
    invented.write_practice(practice, [scenario])
    return practice / str(scenario.code)


@pytest.fixture(scope="module")
def rules() -> RuleBook:
    """The rule books, with few draws: how many there are is no matter here."""
    book = rulebook.load()
    return book.model_copy(update={"guardrails": book.guardrails.model_copy(update={"draws": 200})})


def test_a_fixed_question_is_shown_on_the_days_after_it_was_fixed(
    folder: Path, rules: RuleBook
) -> None:
    client = steps.read_client(folder)
    steps.fix_question(
        client, "short_sleep", "wake_glucose", guess="up", fixed_on=date(2026, 1, 19)
    )
    found = steps.briefing(client, rules, remember=False)
    (asked,) = [item for item in found.ranking.hypotheses if item.family == "fixed"]
    why = found.whys[asked.id]
    assert min(unit.unit for unit in why.units) == "2026-01-20"
    used = [unit for unit in why.units if unit.used]
    assert sum(unit.with_factor == 1.0 for unit in used) == asked.counts.with_
    assert sum(unit.with_factor == 0.0 for unit in used) == asked.counts.without
    page = render(found, "preparation", rules)
    assert "according to you. The guess was higher." in page
    assert "Your question" in render(found, "session", rules)


def test_what_was_found_keeps_its_days_when_its_question_is_fixed(
    folder: Path, rules: RuleBook
) -> None:
    client = steps.read_client(folder)
    ranking = steps.briefing(client, rules, remember=False).ranking
    found = next(
        item
        for item in ranking.hypotheses
        if item.family != "fixed" and len(item.factors) == 1 and item.difference is not None
    )
    now = datetime(2026, 6, 1, 12, tzinfo=UTC)
    steps.fix_question(client, found.factors[0], found.outcome, now=now)
    chosen = steps.PageChoices(include=(found.id,))
    brief = steps.briefing(client, rules, choices=chosen, remember=False)
    waits, searched = [item for item in brief.ranking.hypotheses if item.id == found.id]
    studio = Studio(Teller(brief, rules, (found.id,)))
    assert (waits.family, studio.rows(waits)) == ("fixed", [])
    counted = {row.kind: len(row.dots) for row in studio.rows(searched)}
    assert counted["with"] == searched.counts.with_
    assert counted["without"] == searched.counts.without


def test_meals_have_the_same_four_pages(folder: Path, rules: RuleBook) -> None:
    client = steps.read_client(folder)
    by_meal = replace(
        client, settings=replace(client.settings, rank_unit="meal", display_unit="mmol/L")
    )
    ranking = steps.rank(by_meal, rules, remember=False)
    assert ranking.unit == "meal"
    chosen = [item.id for item in ranking.hypotheses if item.counts.with_ > 4][:2]
    found = steps.briefing(
        by_meal, rules, choices=steps.PageChoices(include=chosen, lineup=True), remember=False
    )
    assert found.high_outcome == "day_mean"
    pages = {kind: render(found, kind, rules, chosen) for kind in KINDS}
    assert not [kind for kind in SHARED_KINDS if "mg/dL" in pages[kind]]
    for id_ in chosen:
        counts = next(item.counts for item in ranking.hypotheses if item.id == id_)
        text = re.sub(r"<[^>]+>", "", pages["session"])
        assert re.search(rf"{counts.with_high} of {counts.with_} ", text)
        assert len(found.lineups[id_].panels) == 20
    # 70, 140 and 180 mg/dL over 18.0156 are 3.9, 7.8 and 10.0 mmol/L.
    assert "Time from 3.9 to 7.8 mmol/L" in pages["doctor"]
    assert "Time above 10.0 mmol/L" in pages["doctor"]


def test_the_shared_pages_change_nothing_in_the_ranking(folder: Path, rules: RuleBook) -> None:
    client = steps.read_client(folder)
    before = steps.rank(client, rules, remember=False, together=False)
    found = steps.briefing(client, rules, remember=False)
    steps.remember_shared(client, found, "session", [])
    after = steps.briefing(client, rules, remember=False)
    assert after.ranking == before
    assert len(after.shared) == len(found.shared) + 1
