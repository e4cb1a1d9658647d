"""How hard it is to read what a client is given: every page, in every state that it can have."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest
import textstat
from textstat.backend.utils._get_lang_easy_words import get_lang_easy_words

from miner.core.messages import Message
from miner.core.results import (
    CautionKind,
    CautionText,
    Doubt,
    DoubtCode,
    Evidence,
    Hypothesis,
    PairsTest,
    PlanResult,
    Withheld,
    Wording,
    worded,
)
from miner.core.results.briefing import Briefing, TrialDates
from miner.core.results.follow import FollowPicture, KeptResult, NewUnits, UnitSeen
from miner.rulebook import RuleBook

KNOWN = {"glucose", "waking", "sensor"}
"""What a client has learned from the sensor itself."""

MOST_GRADE, MOST_DALE_CHALL, MOST_WORDS = 4.0, 6.0, 15.0
PAGES = ("session", "take-home")
UNITS = (UnitSeen("2026-02-24", 95.0, False), UnitSeen("2026-02-25", 109.0, True, high=True))


@pytest.fixture(scope="module", autouse=True)
def known_words() -> None:
    get_lang_easy_words("en_US").update(KNOWN)


def measured(text: str) -> tuple[float, float, float]:
    """Flesch-Kincaid, Dale-Chall and the words a sentence; numbers count as hard words."""
    words = textstat.lexicon_count(text) / textstat.sentence_count(text)
    grade = textstat.flesch_kincaid_grade(text)
    return grade, textstat.dale_chall_readability_score(text), words


def is_easy(text: str) -> bool:
    grade, dale_chall, words = measured(text)
    return grade <= MOST_GRADE and dale_chall <= MOST_DALE_CHALL and words <= MOST_WORDS


def found(brief: Briefing, **changes: Any) -> Briefing:
    """The briefing with the clear pattern changed."""
    items = tuple(
        replace(item, **changes) if item.evidence is Evidence.CLEAR else item
        for item in brief.ranking.hypotheses
    )
    return replace(brief, ranking=replace(brief.ranking, hypotheses=items))


def told(brief: Briefing, *cautions: CautionText, **changes: Any) -> Briefing:
    check = replace(brief.check, cautions=(*cautions, *brief.check.cautions))
    return replace(brief, check=check, **changes)


def quiet(brief: Briefing, level: Evidence) -> Briefing:
    both = [brief.ranking, brief.by_meal]
    ranking, by_meal = (
        one
        and replace(one, hypotheses=tuple(replace(item, evidence=level) for item in one.hypotheses))
        for one in both
    )
    assert ranking is not None
    return replace(brief, ranking=ranking, by_meal=by_meal)


def together(brief: Briefing) -> Briefing:
    """The briefing with two habits that came on the same days, and with nothing clear."""
    alone = [item for item in brief.ranking.hypotheses if len(item.factors) == 1]
    first = next(item for item in alone if item.evidence is Evidence.CLEAR)
    other = next(
        item for item in alone if item.factors == ("late_sleep",) and item.outcome == first.outcome
    )
    own = quiet(brief, Evidence.CANNOT_TELL)
    first, other = (
        replace(item, difference=40.0, p=0.001, withheld=Withheld(reason, 0, 5))
        for item, name in ((first, "late_sleep"), (other, "short_sleep"))
        for reason in [Message("hypotheses.not_told_apart", {"factor": name, "other": name})]
    )
    same = {first.id: first, other.id: other}
    items = (
        replace(same.get(item.id, item), evidence=Evidence.CANNOT_TELL)
        for item in own.ranking.hypotheses
    )
    return replace(own, ranking=replace(own.ranking, hypotheses=tuple(items)))


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


def on_test(rules: RuleBook, **changes: Any) -> KeptResult:
    known: dict[str, Any] = {
        "plan": "p1",
        "status": "changed",
        "difference": -7.0,
        "interval": (-11.0, -3.0),
        "p": 0.03,
        "pairs_used": 6,
        "pairs_not_followed": 0,
        "as_followed": PairsTest(6, -7.0, (-11.0, -3.0), 0.03),
        "id": "4c28aa7c",
        "factor": "short_sleep",
        "outcome": "wake_glucose",
        "unit": "mg/dL",
        "unit_of": "day",
        "worth_having": 5.0,
        "read_on": "2026-05-01",
        "planned_pairs": 6,
    }
    return kept(rules, as_="alternate", status=None, test=PlanResult(**(known | changes)))


def referral(kind: str, at: float, days: int) -> CautionText:
    values = {"at": Message("tables.limit_in_mg", {"limit": at})}
    values["days"] = Message("tables.days", {"n": days})
    about = {"class_": "refer", "days": ("2026-02-01",), "worst": 212.0}
    rests = Message(f"tables.{kind}", values)
    return CautionText(CautionKind.REFERRAL, "x", rests, "See your doctor first.", **about)


def states(brief: Briefing, rules: RuleBook, clear: Hypothesis) -> dict[str, Briefing]:
    """Every state of a client's pages."""
    intake = rules.cautions.intake
    insulin = CautionText(
        CautionKind.INTAKE,
        "x",
        "",
        intake["insulin"].client_action,
        class_="agree",
        medicine="insulin",
    )
    lows = (referral("any_below", 54, 2), referral("below_on_days", 70, 3))
    high = (referral("any_at_least", 200, 1), referral("wake_at_least", 126, 4))
    asked = {"family": "fixed", "fixed_on": "2026-01-01", "fixed_before": True}
    order = (Doubt(DoubtCode.ORDER), Doubt(DoubtCode.WEEKDAY, "sat"))
    few = replace(brief.ranking, status="too_few", hypotheses=(), need_units=20)
    spans = (("2026-03-02", "2026-03-04"), ("2026-03-08", "2026-03-10"))
    trial = TrialDates("p1", rules.factor("short_sleep").try_, spans, spans)
    return {
        "clear": brief,
        "of mmol/L": replace(brief, display_unit="mmol/L"),
        "the other way": found(brief, difference=-8.0, interval=(-16.0, -2.0)),
        "a hint": found(brief, evidence=Evidence.HINT, doubts=order, interval=(-4.0, 16.0)),
        "could not tell": found(brief, evidence=Evidence.CANNOT_TELL, days_to_settle=12),
        "little sign": found(brief, evidence=Evidence.LITTLE_SIGN),
        "its own question": found(brief, **asked),
        "nothing": quiet(brief, Evidence.LITTLE_SIGN),
        "nothing could be told": quiet(brief, Evidence.CANNOT_TELL),
        "not told apart": together(brief),
        "calm, not told apart": replace(together(brief), calm=True),
        "too few": replace(brief, ranking=few, by_meal=None),
        "calm": replace(brief, calm=True),
        "calm, nothing": replace(quiet(brief, Evidence.LITTLE_SIGN), calm=True),
        "on test": replace(brief, trial=trial),
        "referral": told(brief, *high, actions=("See your doctor first.",)),
        "lows": told(brief, *lows, actions=("See your doctor first.",)),
        "all of them": told(brief, *high, *lows, insulin),
        "insulin": told(brief, insulin, actions=(insulin.action,)),
        "informed": told(brief, replace(insulin, informed="2026-02-20")),
        "held up": replace(brief, kept=(kept(rules),)),
        "did not hold": replace(brief, kept=(kept(rules, status="did_not_hold", difference=1.0),)),
        "not settled": replace(brief, kept=(kept(rules, status="not_settled"),)),
        "waiting": replace(brief, kept=(kept(rules, status="waiting", open=True, picture=None),)),
        "changed": replace(brief, kept=(on_test(rules),)),
        "no change": replace(brief, kept=(on_test(rules, status="no_change", difference=-1.0),)),
        "calm, held up": replace(brief, calm=True, kept=(kept(rules),)),
    }


@pytest.fixture(scope="module")
def clear(brief: Briefing) -> Hypothesis:
    return next(item for item in brief.ranking.hypotheses if item.evidence is Evidence.CLEAR)


@pytest.fixture(scope="module")
def text_of(
    rules: RuleBook, render: Callable[..., str], page_text: ModuleType
) -> Callable[..., str]:
    return lambda brief, kind, include=(): page_text.running(render(brief, kind, rules, include))


@pytest.mark.parametrize("kind", PAGES)
@pytest.mark.parametrize("many", [1, 3])
def test_every_page_of_a_client_is_easy_to_read(
    brief: Briefing,
    rules: RuleBook,
    clear: Hypothesis,
    text_of: Callable[..., str],
    kind: str,
    many: int,
) -> None:
    others = [id_ for id_ in brief.whys if id_ != clear.id]
    hard = {
        state: measured(text)
        for state, own in states(brief, rules, clear).items()
        for text in [text_of(own, kind, [clear.id, *others][:many])]
        if not is_easy(text)
    }
    assert hard == {}


@pytest.mark.parametrize("kind", PAGES)
def test_habits_that_came_together_are_named_and_not_called_nothing(
    brief: Briefing, text_of: Callable[..., str], kind: str
) -> None:
    text, calm = (
        text_of(own, kind) for own in (together(brief), replace(together(brief), calm=True))
    )
    for said in (text, calm):
        assert "We could not tell which habit came before high glucose at waking." in said
        assert "Late nights and short nights came on the same days." in said
        assert "No habit stood out" not in said
        assert "one by one" not in said
    assert "Your glucose at waking was high after" in text
    assert "was high after" not in calm


@pytest.mark.parametrize("kind", PAGES)
def test_every_habit_and_every_glucose_measure_is_easy_to_read_of(
    brief: Briefing, text_of: Callable[..., str], kind: str
) -> None:
    hard = {
        (*item.factors, item.outcome): measured(text)
        for item in brief.ranking.hypotheses
        if item.id in brief.whys
        for text in [text_of(brief, kind, [item.id])]
        if not is_easy(text)
    }
    assert hard == {}


def test_the_measures_are_the_published_ones() -> None:
    # 0.39 * 6 + 11.8 * 6 / 6 - 15.59, Kincaid et al. 1975, Navy Research Branch Report 8-75;
    # 0.0496 * 6 + 0.1579 * 0, Dale and Chall 1948, Educational Research Bulletin 27.
    text = "The cat sat on the mat."
    assert textstat.flesch_kincaid_grade(text) == pytest.approx(-1.45)
    assert textstat.dale_chall_readability_score(text) == pytest.approx(0.2976)
    assert not is_easy("Overnight interstitial hyperglycaemia necessitates interdisciplinary care.")
