"""What was followed, on the pages of a client."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest

from miner.core.facts import CautionKind, CautionText
from miner.core.results import Wording, worded
from miner.core.results.briefing import Briefing
from miner.core.results.follow import FollowPicture, KeptResult, NewUnits, UnitSeen
from miner.rulebook import RuleBook

Render = Callable[..., str]
PAGES = ("session", "take-home")
UNITS = (UnitSeen("2026-02-24", 95.0, False), UnitSeen("2026-02-25", 109.0, True, high=True))


def kept(rules: RuleBook, **changes: Any) -> KeptResult:
    known: dict[str, Any] = {
        "id": "4c28aa7c",
        "as_": "watch",
        "kept_on": "2026-03-01",
        "suggested_by_days_to": "2026-02-23",
        "read_on": "2026-03-28",
        "new_units": 25,
        "status": "held_up",
        "difference": 10.0,
        "interval": (6.0, 15.0),
        "factors": ("short_sleep",),
        "lag_days": (0,),
        "outcome": "wake_glucose",
        "unit_of": "day",
        "unit": "mg/dL",
        "direction": "up",
        "expected": 9.0,
        "smallest_worth_it": 5.0,
        "counts": NewUnits(25, 8, 16, 1),
        "open": False,
        "picture": FollowPicture(UNITS, new=UNITS),
    }
    return worded(KeptResult(**(known | changes)), Wording(rules))


@pytest.mark.parametrize("kind", PAGES)
def test_a_verdict_stands_in_its_picture_with_a_value_for_each_mark(
    brief: Briefing, rules: RuleBook, render: Render, page_text: ModuleType, kind: str
) -> None:
    page = render(replace(brief, kept=(kept(rules),)), kind, rules)
    said = " ".join(page_text.seen(page))
    assert "It held up on new days." in said
    assert "about 10 mg/dL more. We looked for about 9." in said
    assert "we read it only once" in said
    assert "<title>Wed 25 February: 109 mg/dL</title>" in page
    assert 'id="follow-4c28aa7c-w' in page or "before, then the test" in page
    assert ("Keep it. Look again" in said) is (kind == "session")


@pytest.mark.parametrize("kind", PAGES)
def test_the_newest_verdict_of_an_idea_is_the_one_shown(
    brief: Briefing, rules: RuleBook, render: Render, page_text: ModuleType, kind: str
) -> None:
    both = (kept(rules), kept(rules, status="did_not_hold", difference=1.0))
    said = " ".join(page_text.seen(render(replace(brief, kept=both), kind, rules)))
    assert "It held up on new days." not in said
    assert "It did not hold" in said


@pytest.mark.parametrize("kind", PAGES)
def test_calm_pages_tell_the_verdict_in_words_alone(
    brief: Briefing, rules: RuleBook, render: Render, page_text: ModuleType, kind: str
) -> None:
    food = kept(rules, id="aaaaaaaa", factors=("high_carb_day",))
    calm = replace(brief, calm=True, kept=(food, kept(rules)))
    page, aloud = render(calm, kind, rules), replace(brief, kept=(kept(rules), food))
    said, loud = (" ".join(page_text.seen(one)) for one in (page, render(aloud, kind, rules)))
    assert "It held up on new days." in said
    assert "A short night" in said
    assert "More carbohydrate than usual" not in said
    assert "More carbohydrate than usual" in loud
    assert "109" not in said
    assert "before, then the test" not in page


def test_before_its_date_the_session_counts_days_and_the_page_to_take_home_is_silent(
    brief: Briefing, rules: RuleBook, render: Render, page_text: ModuleType
) -> None:
    waiting = kept(rules, status="waiting", difference=None, interval=None, picture=None, open=True)
    session, home = (
        " ".join(page_text.seen(render(replace(brief, kept=(waiting,)), kind, rules)))
        for kind in PAGES
    )
    assert "25 of 33 days counted." in session
    assert "What came of it" not in session + home


@pytest.mark.parametrize("kind", PAGES)
def test_a_referral_nobody_told_of_comes_before_anything_followed(
    brief: Briefing, rules: RuleBook, render: Render, page_text: ModuleType, kind: str
) -> None:
    caution = CautionText(CautionKind.REFERRAL, "See a clinician.", class_="refer")
    check = replace(brief.check, cautions=(*brief.check.cautions, caution))
    held = replace(brief, check=check, kept=(kept(rules),))
    assert "It held up" not in " ".join(page_text.seen(render(held, kind, rules)))
    told = replace(check, cautions=(replace(caution, informed="2026-02-01"),))
    open_ = replace(held, check=told)
    assert "It held up" in " ".join(page_text.seen(render(open_, kind, rules)))
