"""The calendar page of a plan: no barrier, nothing cut, on a telephone and on paper."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from miner import rulebook
from miner.core.results import Plan
from miner.followup import planning
from miner.followup.sizes import Size
from miner.render.pages import plan_page
from miner.words.wording import say

START = date(2026, 7, 6)
STOPS = ("stop_unwell", "stop_worry", "stop_ill", "missed")


def written(folder: Path, pairs: int) -> Path:
    rules = rulebook.load()
    size = Size(period_days=3, leave_out_days=1, pairs=pairs, spread=10.0)
    periods, changes = planning.lay_out(size, START, 0, 7, ())
    plan = Plan(
        plan="0a1b2c", id="4c28aa7c", factor="short_sleep", outcome="wake_glucose", unit_of="day",
        unit="mg/dL", change=rules.factor("short_sleep").try_, periods=periods, pairs=pairs,
        period_days=3, offset_days=0, seed=7, smallest_p=0.03, power_at_worth_having=0.8,
        detectable=12.0, worth_having=12.0, pair_spread=10.0, weeks=planning.weeks_of(periods),
        sensors=len(changes) + 1, sensor_changes=tuple(day.isoformat() for day in changes),
        read_on=periods[-1].last, stop_rules=tuple(say(rules, "plan", key) for key in STOPS),
    )  # fmt: skip
    path = folder / "plan.html"
    path.write_text(plan_page(plan, rules, "client-01"), encoding="utf-8")
    return path


@pytest.mark.prove
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1100])
def test_no_barrier_is_found(tmp_path: Path, visit: Any, scheme: str, width: int) -> None:
    path = written(tmp_path, 8)
    page = visit(path, size=(width, 800), color_scheme=scheme, bypass_csp=True).page
    assert Axe().run(page).response["violations"] == []
    assert page.evaluate("document.documentElement.scrollWidth") == width
    cut = "e => e.scrollWidth > e.clientWidth + 1"
    assert not any(line.evaluate(cut) for line in page.locator(".days span").all())


def test_it_asks_for_nothing_and_says_nothing_amiss(tmp_path: Path, visit: Any) -> None:
    watched = visit(written(tmp_path, 6))
    assert (len(watched.requests), watched.console, watched.dialogs) == (1, [], [])


def test_a_box_is_large_enough_for_a_thumb(tmp_path: Path, visit: Any) -> None:
    page = visit(written(tmp_path, 6)).page
    page.emulate_media(media="print")
    box = page.locator(".box").first.bounding_box()
    twelve_mm = 12 / 25.4 * 96
    assert min(box["width"], box["height"]) >= twelve_mm


@pytest.mark.parametrize("form", ["A4", "Letter"])
@pytest.mark.parametrize(("pairs", "sides"), [(6, 2), (12, 3)])
def test_on_paper(tmp_path: Path, visit: Any, form: str, pairs: int, sides: int) -> None:
    pdf = visit(written(tmp_path, pairs)).page.pdf(format=form)
    assert pdf.count(b"/Type /Page") - pdf.count(b"/Type /Pages") == sides
