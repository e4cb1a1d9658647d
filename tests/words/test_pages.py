"""What stands on each page, what must not, and that a page asks for nothing else."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest

from miner.core.messages import Message, MinerError, message
from miner.core.results import CautionKind, CautionText, Evidence, Hypothesis, Ranking
from miner.core.results.briefing import KINDS, SHARED_KINDS, Briefing, EarlierResult, Shared
from miner.render import pages
from miner.rulebook import RuleBook

Render = Callable[..., str]
Seen = Callable[..., list[str]]
TextOf = Callable[..., str]

CLIENT_PAGES = ("session", "take-home")
MONTHS = ("January", "February", "March")


def with_items(brief: Briefing, *items: Hypothesis) -> Briefing:
    """The briefing with these hypotheses put in place of those of the same ID."""
    new = {item.id: item for item in items}
    told = tuple(new.get(item.id, item) for item in brief.ranking.hypotheses)
    return replace(brief, ranking=replace(brief.ranking, hypotheses=told))


def first(ranking: Ranking, **wanted: Any) -> Hypothesis:
    return next(
        item
        for item in ranking.hypotheses
        if all(getattr(item, name) == value for name, value in wanted.items())
    )


@pytest.fixture(scope="module")
def page_of(rules: RuleBook, render: Render) -> Render:
    """The page of a briefing, of one kind, with what was chosen for it."""
    return lambda brief, kind, include=(): render(brief, kind, rules, include)


@pytest.fixture(scope="module")
def seen(page_of: Render, page_text: ModuleType) -> Seen:
    """What somebody sees of such a page, block by block."""
    return lambda *which: page_text.seen(page_of(*which))


@pytest.fixture(scope="module")
def text_of(seen: Seen) -> TextOf:
    """The same in one line."""
    return lambda *which: " ".join(seen(*which))


@pytest.fixture(scope="module")
def clear(brief: Briefing) -> Hypothesis:
    return first(brief.ranking, factors=("short_sleep",), outcome="wake_glucose")


@pytest.mark.parametrize("kind", KINDS)
def test_a_page_is_the_same_to_the_byte(
    brief: Briefing, rules: RuleBook, kind: str, clear: Hypothesis, page_of: Render
) -> None:
    again = pages.render(brief, kind, rules, [clear.id])
    assert again == page_of(brief, kind, [clear.id])


@pytest.mark.parametrize("kind", KINDS)
def test_the_policy_allows_the_scripts_and_styles_of_the_page_and_nothing_else(
    brief: Briefing, kind: str, clear: Hypothesis, page_text: ModuleType, page_of: Render
) -> None:
    page = page_of(brief, kind, [clear.id])
    reader = page_text.read(page)
    meta = next(a for t, a in reader.tags if t == "meta" and "http-equiv" in a)
    policy = dict(part.split(" ", 1) for part in str(meta["content"]).split("; "))
    assert policy.pop("default-src") == "'none'"
    for name, tag in (("script-src", "script"), ("style-src", "style")):
        text = re.search(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        assert text is not None
        sha = base64.b64encode(hashlib.sha256(text[1].encode()).digest()).decode()
        assert policy.pop(name) == f"'sha256-{sha}'"
    assert policy == {"base-uri": "'none'", "form-action": "'none'"}


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_in_a_page_reaches_outside_or_runs(
    brief: Briefing, kind: str, clear: Hypothesis, page_text: ModuleType, page_of: Render
) -> None:
    page = page_of(brief, kind, [clear.id])
    for tag, attributes in page_text.read(page).tags:
        assert tag not in {"link", "img", "iframe", "object", "embed", "form", "base", "a"}
        for name, value in attributes.items():
            assert not name.startswith("on")
            assert name not in {"src", "style", "srcset", "action"}
            assert name != "href" or str(value).startswith("#")
    assert not re.search(r"@import|url\((?!#)", page)


@pytest.mark.parametrize("kind", CLIENT_PAGES)
def test_nothing_that_was_not_chosen_reaches_a_client(
    brief: Briefing, rules: RuleBook, kind: str, page_text: ModuleType, page_of: Render
) -> None:
    page = page_of(brief, kind)
    text = " ".join(page_text.seen(page))
    for item in brief.ranking.hypotheses:
        assert item.id not in page
        assert item.sentence not in text
        for name in item.factors:
            assert rules.factor(name).phrase.casefold() not in text.casefold()


@pytest.mark.parametrize("kind", SHARED_KINDS)
def test_food_is_not_named_unless_it_was_chosen(
    brief: Briefing,
    rules: RuleBook,
    kind: str,
    clear: Hypothesis,
    page_text: ModuleType,
    page_of: Render,
) -> None:
    food = {name: rule.phrase for name, rule in rules.factors_of("day").items() if rule.food}
    note = message(
        "hypotheses.differed_little",
        factor="long_eating_window",
        other=food["long_eating_window"],
        apart=1,
        of=31,
        unit="day",
    )
    told = replace(clear, travels_with=("high_carb_dinner", "late_sleep"), notes=(note,))
    asked = first(brief.ranking, factors=("high_carb_dinner",))
    question = replace(asked, family="fixed", fixed_on="2026-01-01", fixed_before=True)
    page = page_of(with_items(brief, told, question), kind, [clear.id])
    text = " ".join(page_text.seen(page))
    assert not [phrase for phrase in food.values() if phrase.casefold() in text.casefold()]
    if kind == "session":
        assert "What came along with it? Often a late night." in text
        assert "apart on" not in text
    chosen = page_of(with_items(brief, question), kind, [question.id])
    assert "high-carbohydrate dinner" in " ".join(page_text.seen(chosen)).casefold()


def test_a_question_of_the_clients_own_is_shown_without_being_chosen(
    brief: Briefing, clear: Hypothesis, seen: Seen
) -> None:
    asked = replace(clear, family="fixed", fixed_on="2026-01-01", fixed_before=True)
    text = seen(with_items(brief, asked), "session")
    assert "Your question" in text
    assert any(f"after {asked.counts.with_high} of {asked.counts.with_} " in one for one in text)


@pytest.mark.parametrize("kind", CLIENT_PAGES)
def test_the_client_sees_the_action_of_a_caution_and_not_its_reason(
    brief: Briefing, rules: RuleBook, kind: str, clear: Hypothesis, text_of: TextOf
) -> None:
    from miner.core.results import CautionKind, CautionText

    reason = rules.cautions.intake["insulin"].when_yes
    action = rules.cautions.intake["insulin"].client_action
    waits = {"class_": "agree", "informed": "2026-02-20", "waiting": (("sleep", "agreed"),)}
    said = (CautionText(CautionKind.INTAKE, reason, **waits), *brief.check.cautions)
    cautious = replace(brief, actions=(action,), check=replace(brief.check, cautions=said))
    text = text_of(cautious, kind, [clear.id])
    assert action in text
    assert "nsulin" not in text
    assert rules.factor("short_sleep").try_ not in text
    assert "On 20 February 2026 we told you to see your doctor." in text
    assert "The client was asked to see a clinician on 20 February" in text_of(
        cautious, "preparation"
    )


@pytest.mark.parametrize("calm", [False, True])
@pytest.mark.parametrize("kind", CLIENT_PAGES)
def test_a_client_who_is_to_see_a_doctor_first_is_shown_nothing_else(
    brief: Briefing, kind: str, calm: bool, clear: Hypothesis, text_of: TextOf
) -> None:
    at, days = Message("tables.limit_in_mg", {"limit": 200}), Message("tables.days", {"n": 2})
    high = CautionText(
        CautionKind.REFERRAL,
        "Refer.",
        Message("tables.any_at_least", {"at": at, "days": days}),
        "See your doctor first.",
        class_="refer",
        days=("2026-02-01", "2026-02-03"),
        worst=212.0,
        waiting=(("sleep", "informed"),),
    )
    low = replace(
        high, rests_on=Message("tables.any_below", {"at": at, "days": days}), worst=float("-inf")
    )
    apnoea = CautionText(CautionKind.INTAKE, "x", "y", "Ask about your sleep.", class_="refer")
    told = replace(
        brief,
        calm=calm,
        check=replace(brief.check, cautions=(high, low, apnoea)),
        actions=(high.action, apnoea.action),
    )
    text = text_of(told, kind, [clear.id])
    assert "Please see your doctor first." in text
    assert "Until then Change nothing on your own." in text
    assert "Go today if you are very thirsty" in text
    assert "Ask about your sleep." in text
    assert ("Your sensor read 200 mg/dL or more on 2 days." in text) is not calm
    assert (re.search(r"\d", text.replace(brief.client, "")) is None) is calm
    assert "short night" not in text.lower()
    of_doctor = text_of(told, "doctor", [clear.id])
    assert "200 mg/dL or more on 2 days 212 1 Feb, 3 Feb" in of_doctor
    assert "below what the sensor shows" in of_doctor


def test_where_food_is_feared_no_food_is_on_a_page_of_the_client(
    brief: Briefing, rules: RuleBook, page_of: Render
) -> None:
    from miner.words.teller import Teller

    meals = [
        item
        for item in brief.ranking.hypotheses
        if any(rules.factor(name).stream == "meals" for name in item.factors)
    ]
    assert "late_dinner" in {name for item in meals for name in item.factors}
    feared = CautionText(CautionKind.INTAKE, "x", class_="stop", informed="2026-02-20")
    told = replace(brief, check=replace(brief.check, cautions=(feared,)))
    chosen = tuple(item.id for item in meals)
    assert Teller(brief, rules, chosen).chosen()
    assert Teller(told, rules, chosen).chosen() == []
    assert Teller(told, rules, chosen).hides("late_dinner")
    assert not Teller(told, rules, chosen).hides("short_sleep")


def test_what_calls_for_a_clinician_stands_before_any_pattern_on_every_page(
    brief: Briefing, rules: RuleBook, clear: Hypothesis, text_of: TextOf
) -> None:
    from miner.core.results import CautionKind, CautionText

    book = rules.cautions
    said = [CautionText(CautionKind.INTAKE, item.when_yes) for item in book.intake.values()]
    said += [
        CautionText(CautionKind.REFERRAL, rule.say.format(at="54 mg/dL", days="3 days"))
        for rule in book.referral
    ]
    said.append(CautionText(CautionKind.MEDICINE, "A medicine tag was seen ('insulin')."))
    action = book.intake["insulin"].client_action
    cautious = replace(
        brief, actions=(action,), check=replace(brief.check, cautions=tuple(said)),
        ranking=replace(brief.ranking, notes=("Clear without leaving them out.",)),
    )  # fmt: skip
    pages = {
        kind: text_of(cautious, kind, [clear.id])
        for kind in ("preparation", "session", "take-home")
    }
    first = pages["preparation"].index(brief.ranking.verdict)
    first = min(first, pages["preparation"].index("Clear without leaving them out."))
    assert max(pages["preparation"].index(item.text) for item in said) < first
    assert pages["session"].index(action) < pages["session"].index("you could test")
    assert pages["take-home"].index(action) < pages["take-home"].index("What we saw")


@pytest.mark.parametrize("kind", SHARED_KINDS)
def test_no_p_value_no_score_and_no_causal_word_is_shared(
    brief: Briefing, kind: str, text_of: TextOf
) -> None:
    chosen = list(brief.whys)[:3]
    text = text_of(brief, kind, chosen)
    assert not re.search(
        r"\bp\b|p-value|\bscores?\b|adjusted|\blift\b|leverage|significan|\bbad\b|\bgood days?\b"
        r"|\bcaus|trigger|because|prove|hypothes|danger|target",
        text,
        re.IGNORECASE,
    )


@pytest.mark.parametrize("kind", CLIENT_PAGES)
def test_calm_pages_have_no_number_and_no_curve(
    brief: Briefing, rules: RuleBook, kind: str, page_text: ModuleType, page_of: Render
) -> None:
    chosen = list(brief.whys)[:3]
    page = page_of(replace(brief, calm=True), kind, chosen)
    assert "<svg" not in page
    assert "application/json" not in page
    text = " ".join(page_text.seen(page))
    for month in MONTHS:
        text = re.sub(rf"\d+ ({month}|{month[:3]})( 20\d\d)?", "", text)
    for rule in rules.factors.values():
        text = text.replace(rule.try_, "")
    assert not re.search(r"\d", text.replace(brief.client, ""))
    assert "mg/dL" not in text


@pytest.mark.parametrize("evidence", list(Evidence))
def test_what_is_said_calmly_follows_the_level(
    brief: Briefing, clear: Hypothesis, evidence: Evidence, text_of: TextOf
) -> None:
    told = with_items(replace(brief, calm=True), replace(clear, evidence=evidence))
    text = text_of(told, "session", [clear.id])
    expected = {
        Evidence.CLEAR: "A short night often went with high glucose at waking.",
        Evidence.HINT: "A short night may go with high glucose at waking. It may be luck.",
        Evidence.CANNOT_TELL: "We could not tell about a short night and glucose at waking.",
        Evidence.LITTLE_SIGN: "We looked at a short night and glucose at waking. "
        "We saw little sign.",
    }
    assert expected[evidence] in text


def test_nothing_stood_out_is_a_screen_of_its_own_and_never_said_of_a_month_with_a_claim(
    brief: Briefing, rules: RuleBook, seen: Seen
) -> None:
    nothing = rules.wording["client"]["nothing"].replace("{days}", f"{brief.check.days} days")
    assert nothing not in seen(brief, "session")
    quiet = replace(
        brief,
        ranking=replace(
            brief.ranking,
            hypotheses=tuple(
                replace(item, evidence=Evidence.CANNOT_TELL) for item in brief.ranking.hypotheses
            ),
        ),
    )
    page = seen(quiet, "session")
    assert nothing in page
    assert "What can you do now?" in page
    assert any(block.startswith(nothing) for block in seen(quiet, "take-home"))


def test_a_claim_is_not_told_before_it_is_chosen(
    brief: Briefing, rules: RuleBook, clear: Hypothesis, seen: Seen
) -> None:
    assert clear.evidence is Evidence.CLEAR
    told = rules.wording["client"]["clear_one"]
    assert told not in seen(brief, "session")
    assert told in seen(brief, "session", [clear.id])


def test_too_few_days_are_told_with_how_many_are_needed(brief: Briefing, seen: Seen) -> None:
    few = replace(brief.ranking, status="too_few", hypotheses=(), need_units=20)
    text = seen(replace(brief, ranking=few), "session")
    assert text[1] == "There are too few days to go by as yet."
    assert any("at least 20 to set days" in block for block in text)


def test_every_unit_is_a_dot_and_the_higher_quarter_has_its_own_shape(
    brief: Briefing, rules: RuleBook, clear: Hypothesis, page_of: Render
) -> None:
    page = page_of(brief, "session", [clear.id])
    name = rules.outcome("wake_glucose").label.capitalize()
    dots = re.findall(rf'<svg[^>]*aria-label="{name}, a mark a morning\.".*?</svg>', page)
    assert len(dots) == 2
    counts = clear.counts
    for figure in dots:
        marks = re.findall(r'data-day="(2026-[\d-]+)"[^>]*>.*?href="#([^"]+)"', figure)
        assert len(marks) == len({day for day, _ in marks})
        assert len(marks) == counts.known + counts.unknown
        paths = [
            dict(re.findall(r'(\w+)="([^"]*)"', tag)) for tag in re.findall("<path[^>]*>", figure)
        ]
        drawn = {path["id"]: path["d"] for path in paths if "id" in path}
        pointed = [day for day, shape in marks if "C" not in drawn[shape]]
        high = [unit.unit for unit in brief.whys[clear.id].units if unit.high == 1.0]
        assert sorted(pointed) == sorted(set(high) & {day for day, _ in marks})
        assert len(pointed) >= counts.high
        assert f">{counts.with_} short nights<" in figure
        assert f">{counts.without} other nights<" in figure


def test_numbers_stand_in_the_unit_of_the_practice(
    brief: Briefing, clear: Hypothesis, page_text: ModuleType, page_of: Render
) -> None:
    page = page_of(replace(brief, display_unit="mmol/L"), "session", [clear.id])
    text = " ".join(page_text.seen(page))
    assert "mg/dL" not in page
    assert clear.difference is not None
    # 1 mmol/L of glucose is 18.0156 mg/dL: molar mass 180.156 g/mol.
    assert f"It was about {clear.difference / 18.0156:.1f} mmol/L more." in text


def test_a_try_is_shown_only_where_the_difference_went_its_way(
    brief: Briefing, rules: RuleBook, clear: Hypothesis, text_of: TextOf
) -> None:
    assert clear.difference is not None
    words = rules.factor("short_sleep").try_
    for difference, shown in ((clear.difference, True), (-clear.difference, False)):
        told = with_items(brief, replace(clear, difference=difference))
        for kind in CLIENT_PAGES:
            text = text_of(told, kind, [clear.id])
            assert (words in text) is shown
            assert ("Some days with, some without." in text) is (kind == "session")


def test_the_lineup_holds_the_recorded_values_among_nineteen_in_another_order(
    brief: Briefing, clear: Hypothesis, seen: Seen
) -> None:
    found = brief.lineups[clear.id]
    real = {unit.unit: unit.outcome for unit in brief.whys[clear.id].units if unit.used}
    panels = [dict(zip(found.units, panel, strict=True)) for panel in found.panels]
    assert len(panels) == 20
    same = [all(panel[unit] == value for unit, value in real.items()) for panel in panels]
    assert [at for at, is_same in enumerate(same) if is_same] == [found.real]
    page = seen(brief, "session", [clear.id])
    assert f"Number {found.real + 1}." in page
    without = replace(brief, lineups={})
    assert "Which one is yours?" not in seen(without, "session", [clear.id])


def test_more_than_one_side_holds_is_refused(brief: Briefing, page_of: Render) -> None:
    with pytest.raises(MinerError, match="at most 3"):
        page_of(brief, "take-home", list(brief.whys)[:4])
    with pytest.raises(MinerError, match="one of preparation, session, take-home, doctor"):
        page_of(brief, "poster")


def test_the_practitioner_sees_what_was_not_asked_every_number_and_what_was_shared(
    brief: Briefing, seen: Seen, page_of: Render
) -> None:
    told = replace(
        brief,
        shared=(Shared("2026-02-25", "session", ("4c28aa7c",)),),
        earlier=(EarlierResult("2026-02-01", "00000000", "hint"),),
    )
    text = seen(told, "preparation")
    assert any(block.startswith("Still to ask the client: ") for block in text)
    assert "25 February 2026: session (4c28aa7c)" in text
    assert "The pattern 00000000: hint on 1 February 2026; now: not in this ranking." in text
    page = page_of(told, "preparation")
    assert all(item.id in page for item in brief.ranking.hypotheses)


def test_the_practitioner_is_told_of_high_days_without_notes(brief: Briefing, seen: Seen) -> None:
    high = next(day for day in brief.days if day.high and day.usable)
    quiet = tuple(
        replace(day, meals=0, tags=0, unlogged_rises=0) if day is high
        else replace(day, meals=3, unlogged_rises=0)
        for day in brief.days
    )  # fmt: skip
    text = seen(replace(brief, days=quiet), "preparation")
    asked = [block for block in text if "high, and nothing was noted" in block]
    assert len(asked) == 1


def test_the_doctor_gets_measures_with_definitions_and_no_advice(
    brief: Briefing, clear: Hypothesis, text_of: TextOf
) -> None:
    text = text_of(brief, "doctor", [clear.id])
    for item in brief.measures:
        assert str(item.name) in text
        assert str(item.definition) in text
    assert clear.sentence.replace("your higher", "the client's higher") in text
    assert not re.search(r"\b(should|try|walk|bed|earlier|call|keep|advice)\b", text, re.IGNORECASE)


def test_the_dates_of_a_plan_stand_on_the_page_to_take_home(
    brief: Briefing, text_of: TextOf
) -> None:
    from miner.core.results.briefing import TrialDates

    trial = TrialDates(
        "p1", "Go to bed 45 minutes earlier.", (("2026-03-02", "2026-03-04"),),
        (("2026-03-05", "2026-03-07"), ("2026-03-08", "2026-03-08")),
    )  # fmt: skip
    text = text_of(replace(brief, trial=trial), "take-home")
    assert "Go to bed 45 minutes earlier. From 2 March to 8 March, do this on the days" in text


def test_the_doctor_reads_of_the_client_not_to_the_client(brief: Briefing, text_of: TextOf) -> None:
    shown = [item for item in brief.ranking.hypotheses if item.id in brief.whys]
    above = first(replace(brief.ranking, hypotheses=tuple(shown)), outcome="minutes_above")
    text = text_of(brief, "doctor", [above.id])
    assert "time above range" in text
    assert "time above range" in text
    assert "your" not in text.casefold().split()


def test_what_was_not_tested_is_told_apart_from_what_could_not_be_told(
    brief: Briefing, text_of: TextOf, seen: Seen
) -> None:
    assert brief.by_meal is not None
    each = (brief.ranking, brief.by_meal)
    searched = [item for one in each for item in one.hypotheses if item.family != "fixed"]
    unsure = [item for item in searched if item.evidence is Evidence.CANNOT_TELL]
    closed = [item for item in unsure if item.p is None]
    assert 0 < len(closed) < len(unsure)
    blocks = seen(brief, "session")
    asked = sum(one.questions_asked for one in each)
    told = " ".join(blocks)
    assert f"a glucose number side by side {asked} times." in told
    own = [item for item in brief.ranking.hypotheses if item in closed]
    text = text_of(brief, "preparation")
    assert f"({len(own)} not tested: too few days, or too much alike)" in text


@pytest.mark.parametrize(
    ("times", "by_meal", "told"),
    [
        (1, True, ""),
        (2, True, "This page looks at the records twice, by day and by meal; both are counted."),
        (2, False, "These records were ranked in 2 ways. With each of them"),
        (4, True, "These records were ranked in 4 ways, by day and by meal among them. With each"),
    ],
)
def test_how_often_the_records_were_ranked_is_told_plainly(
    brief: Briefing, times: int, by_meal: bool, told: str, text_of: TextOf
) -> None:
    ranking = replace(brief.ranking, rankings_of_these_records=times)
    own = replace(brief, ranking=ranking, by_meal=brief.by_meal if by_meal else None)
    text = text_of(own, "preparation")
    assert told in text
    assert ("the records twice" in text or "were ranked in" in text) is bool(told)


@pytest.mark.parametrize("kind", KINDS)
def test_cautions_come_before_any_pattern(
    brief: Briefing, kind: str, clear: Hypothesis, text_of: TextOf
) -> None:
    check = replace(brief.check, cautions=(CautionText(CautionKind.REFERRAL, "Refer at once."),))
    ranking = replace(brief.ranking, notes=("A note on the ranking.",))
    told = replace(brief, check=check, actions=("See your doctor first.",), ranking=ranking)
    text = text_of(told, kind, [clear.id])
    pattern = text.lower().index("short night")
    if kind == "preparation":
        assert text.index("Refer at once.") < text.index("A note on the ranking.") < pattern
    elif kind != "doctor":
        assert text.index("See your doctor first.") < pattern
        assert "Refer at once." not in text
    else:
        assert "See your doctor first." not in text
        assert text.index("What the client reported") < pattern


@pytest.mark.parametrize(("highest", "told"), [(190.0, False), (320.0, True)])
def test_what_lies_beyond_the_one_scale_is_told(
    brief: Briefing, highest: float, told: bool, seen: Seen
) -> None:
    day = replace(brief.days[3], spread=(80.0, 90.0, 100.0, 120.0, highest))
    own = replace(brief, days=(*brief.days[:3], day, *brief.days[4:]))
    for kind in ("preparation", "session"):
        blocks = seen(own, kind)
        assert ("What is off the scale is drawn at its edge." in blocks) is told


@pytest.mark.parametrize("calm", [False, True])
def test_where_nothing_could_be_asked_no_page_says_that_it_was(
    brief: Briefing, calm: bool, seen: Seen
) -> None:
    ranking = replace(brief.ranking, questions_asked=0, hypotheses=())
    own = replace(brief, ranking=ranking, by_meal=None, calm=calm)
    session = seen(own, "session")
    assert "There was nothing to compare yet." in session
    assert "There was nothing to compare, so we could not tell anything." in " ".join(session)
    home = seen(own, "take-home")
    assert "There was nothing to compare yet. More notes will help." in home
    assert "We could not tell about any habit yet." in home
    for text in (" ".join(session), " ".join(home)):
        assert "No habit stood out" not in text
        assert "looked at many habits" not in text
        assert "0 questions" not in text


def test_what_an_earlier_ranking_said_stands_beside_what_is_found_now(
    brief: Briefing, clear: Hypothesis, text_of: TextOf
) -> None:
    told = replace(brief, earlier=(EarlierResult("2026-02-01", clear.id, "hint"),))
    text = text_of(told, "preparation")
    assert ": hint on 1 February 2026; now: clear enough to test" in text


def test_a_habit_that_is_not_named_is_left_out(
    brief: Briefing, clear: Hypothesis, text_of: TextOf
) -> None:
    told = with_items(brief, replace(clear, travels_with=("late_dinner", "high_carb_dinner")))
    text = text_of(told, "session", [clear.id])
    assert "What came along with it? Often a late dinner." in text


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("own", ["tag:the client", "food:you", "tag:when you tested it"])
def test_a_client_s_own_words_come_out_unchanged(
    brief: Briefing, rules: RuleBook, clear: Hypothesis, kind: str, own: str, text_of: TextOf
) -> None:
    told = with_items(brief, replace(clear, factors=(own,)))
    text = text_of(told, kind, [clear.id])
    assert rules.factor(own).phrase in text.replace("The tag", "the tag").replace("Food", "food")


def test_hiding_a_food_changes_no_other_word(
    brief: Briefing, clear: Hypothesis, page_of: Render
) -> None:
    hidden = replace(first(brief.ranking, family="search"), id="0", factors=("food:a",))
    ranking = replace(brief.ranking, hypotheses=(*brief.ranking.hypotheses, hidden))
    pages_ = [
        page_of(replace(brief, ranking=one), "session", [clear.id])
        for one in (brief.ranking, ranking)
    ]
    counts = f"{clear.counts.with_high} of {clear.counts.with_} short nights"
    assert [page.count(counts) for page in pages_] == [1, 1]


def test_the_numbers_agreed_on_are_on_a_client_s_page_or_a_space_for_them(
    brief: Briefing, text_of: TextOf
) -> None:
    agreed = replace(brief, call=(60.0, 250.0))
    for kind in CLIENT_PAGES:
        assert "if you see more than 250 or less than 60 on your sensor" in text_of(agreed, kind)
        assert "more than \u2026\u2026\u2026\u2026 or less than" in text_of(brief, kind)
        assert "on your sensor" not in text_of(replace(agreed, calm=True), kind)
    of_mmol = text_of(replace(agreed, display_unit="mmol/L"), "take-home")
    assert "more than 13.9 or less than 3.3" in of_mmol
