"""Every sentence that can be said of a result, over every level, habit and outcome."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, product
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.results import (
    Counts,
    ErrorRate,
    Evidence,
    Hypothesis,
    OutcomeSummary,
    Together,
    Withheld,
    Wording,
    worded,
)
from miner.core.results.briefing import Briefing
from miner.render.terminal import render
from miner.rulebook import RuleBook
from miner.words import pattern, results, sentences
from miner.words.amounts import Amounts
from miner.words.ask import answer_parts
from miner.words.sentences import evidence_words
from miner.words.teller import HypothesisTeller

UNITS = ("day", "meal")
CAUSAL = re.compile(
    r"\b(caus(e|es|ed|ing)|trigger(s|ed|ing)?|drives?|driven|driving|because|prove[sd]?"
    r"|lead(s|ing)? to|led to|your body reacts|changed|makes?|made)\b",
    re.IGNORECASE,
)
ONE_IN = re.compile(r"\b1 in \d+")
PLACEHOLDER = re.compile(r"[{}]|\bNone\b|\bnan\b")
SPACES = re.compile(r" {2,}|\s[.,;]|^\s|\s$")
NOUNS = r"(days|nights|mornings|meals|months|records|times|questions|patterns|hints)"
WRONG_NUMBER = re.compile(
    rf"(?<![\d.-])1 (?:\w+ )?{NOUNS}\b|\b1 were\b|\b(0|[2-9]|\d\d+) was\b"
    r"|\b(0|[2-9]|\d\d+) (?:\w+ )?"
    r"(day|night|morning|meal|month|record|time|question|pattern|hint)\b",
)
LONGEST = 25
TAGS = ("tag:wine", "tag:coffee late", "tag:out with friends")
FOODS = ("food:porridge", "food:bread and cheese")
COUNTS = (
    Counts(9, 5, 19, 2, 2),
    Counts(1, 1, 1, 1, 1),
    Counts(1, 0, 20, 1, 0),
    Counts(0, 0, 0, 0, 30),
    Counts(21, 11, 1, 0, 0),
)


def faults(text: str, *, below_changed: bool = True) -> list[str]:
    """Return what is wrong with a text, one word a fault."""
    found = []
    if below_changed and CAUSAL.search(text):
        found.append("causal")
    found += [
        name
        for name, wrong in (
            ("one in", ONE_IN), ("placeholder", PLACEHOLDER), ("spaces", SPACES),
            ("number", WRONG_NUMBER),
        )
        if wrong.search(text)
    ]  # fmt: skip
    if any(len(part.split()) > LONGEST for part in re.split(r"(?<=[.!?])\s+", text)):
        found.append("long")
    if text and not text.endswith((".", "!", "?")):
        found.append("no end")
    return found


def names(rules: RuleBook, unit: str) -> list[str]:
    own = [name for name in rules.factors_of(unit) if not name.endswith(":*")]
    return own + list(TAGS) + (list(FOODS) if unit == "meal" else [])


def asked(samples: ModuleType, rules: RuleBook, unit: str) -> Iterator[Hypothesis]:
    """Every factor with every outcome it can meet, as the search relates the two."""
    for name, (outcome, target) in product(names(rules, unit), rules.outcomes_of(unit).items()):
        factor = rules.factor(name, unit)
        if target.window in factor.lag:
            relation = "same_day" if target.window in factor.same_time else "precedes"
            yield samples.hypothesis(
                factors=(name,), outcome=outcome, relation=relation, unit=target.measure_unit
            )


def together(samples: ModuleType, rules: RuleBook, size: int) -> Iterator[Hypothesis]:
    """Every set of habits by day that could meet one outcome."""
    for outcome, target in rules.outcomes_of("day").items():
        found = {name: rules.factor(name) for name in names(rules, "day")}
        meeting = [name for name, rule in found.items() if target.window in rule.lag]
        for factors in combinations(meeting, size):
            beside = any(target.window in found[name].same_time for name in factors)
            relation = "same_day" if beside else "precedes"
            yield samples.hypothesis(factors=factors, outcome=outcome, relation=relation)


@pytest.mark.parametrize("unit", UNITS)
def test_every_habit_with_every_outcome(samples: ModuleType, rules: RuleBook, unit: str) -> None:
    items = list(asked(samples, rules, unit))
    met = {(item.factors[0], item.outcome) for item in items}
    assert {factor for factor, _ in met} == set(names(rules, unit))
    assert {outcome for _, outcome in met} == set(rules.outcomes_of(unit))
    for item, counts in product(items, COUNTS):
        text = pattern.sentence(replace(item, counts=counts), rules, unit)
        assert faults(text) == [], text


@pytest.mark.parametrize("size", [2, 3])
def test_every_set_of_habits(samples: ModuleType, rules: RuleBook, size: int) -> None:
    items = list(together(samples, rules, size))
    assert len(items) > 1000
    texts = {pattern.sentence(item, rules) for item in items}
    texts |= {
        pattern.sentence(replace(item, counts=counts), rules)
        for item, counts in product(items[:: len(items) // 50], COUNTS)
    }
    wrong = {text: faults(text) for text in texts if faults(text)}
    assert wrong == {}


def every_level(samples: ModuleType, rules: RuleBook) -> Iterator[tuple[str, Hypothesis]]:
    changes: list[dict[str, Any]] = [
        {"p_adjusted": p, "p": p, "family": family, "days_to_settle": days, "travels_with": along,
         "could_run_backwards": True, "unlikely_beyond": 12.0, "guess": guess,
         "fixed_on": on, "fixed_proven": proven}
        for p, family, days, along, guess, on, proven in (
            (0.0001, "search", None, (), None, None, None),
            (0.01, "primary", 1, ("late_dinner",), None, None, None),
            (0.5, "search", 40, ("late_dinner", "tag:wine", "few_steps"), None, None, None),
            (0.001, "fixed", 2, (), "up", "2026-02-01", True),
            (0.01, "fixed", 1, (), "down", "2026-02-01", False),
            (1.0, "fixed", 1, (), None, "2026-02-01", True),
        )
    ]  # fmt: skip
    holds = (None, Withheld("too few nights with it", 1, 5), Withheld("cannot be told apart"))
    for level, change, withheld in product(Evidence, changes, holds):
        for unit in UNITS:
            item = next(asked(samples, rules, unit))
            item = replace(item, evidence=level, withheld=withheld, **change)
            yield unit, worded(item, Wording(rules, unit=unit))


@pytest.mark.parametrize("display", ["mg/dL", "mmol/L"])
def test_every_level_in_full(samples: ModuleType, rules: RuleBook, display: str) -> None:
    seen = set()
    for unit, item in every_level(samples, rules):
        teller = HypothesisTeller(rules, Amounts(display), unit)
        for line in render(teller.parts(item), 2000).splitlines():
            assert faults(line.strip()) == [], line
        seen.add(item.evidence)
    assert seen == set(Evidence)


@pytest.mark.parametrize("level", list(Evidence))
def test_a_level_is_said_in_its_own_words_and_in_no_others(
    samples: ModuleType, rules: RuleBook, level: Evidence
) -> None:
    item = samples.hypothesis(evidence=level)
    text = render(answer_parts(item, rules), 2000)
    said = {
        Evidence.CLEAR: evidence_words(Evidence.CLEAR, rules),
        Evidence.HINT: evidence_words(Evidence.HINT, rules),
        Evidence.CANNOT_TELL: "We could not tell about",
        Evidence.LITTLE_SIGN: "We saw little sign that",
    }
    assert [other for other, words in said.items() if words in text] == [level]
    assert ("luck alone" in text.casefold()) == (level in (Evidence.CLEAR, Evidence.HINT))


def test_only_changed_may_say_that_something_changed(rules: RuleBook) -> None:
    words = rules.wording["evidence"]
    assert [key for key, text in words.items() if faults(text)] == ["changed", "changed_of_client"]
    assert faults(words["changed"], below_changed=False) == []


def test_every_verdict(samples: ModuleType, rules: RuleBook) -> None:
    for clear, hints, fixed in product((0, 1, 2), (0, 1, 2, 9), (0, 1)):
        items = [samples.hypothesis()] * clear
        items += [samples.hypothesis(evidence=Evidence.HINT)] * hints
        items += [samples.hypothesis(evidence=Evidence.HINT, family="fixed")] * fixed
        for chance in (None, 0.0, 1.4, 3.6):
            text = sentences.verdict(samples.ranking(*items, hints_by_chance=chance), rules)
            assert faults(text) == [], text
    for usable, unit in product((0, 1, 19), UNITS):
        few = samples.ranking(status="too_few", usable_units=usable, need_units=20, unit=unit)
        assert faults(sentences.verdict(few, rules)) == []


NO_MORE = (
    "We could not tell. A record this long would only reveal a difference of about 34 minutes in "
    "time above your range."
)


@pytest.mark.parametrize(
    ("hints", "fixed", "chance", "words"),
    [
        (0, 0, 3.0, NO_MORE),
        (3, 0, 3.0, NO_MORE),
        (3, 0, 2.5, NO_MORE),
        (1, 0, 1.0, NO_MORE),
        (3, 0, 2.4, "No pattern is clear enough to test. 3 may be worth watching."),
        (9, 0, 2.4, "No pattern is clear enough to test. 3 may be worth watching."),
        (1, 0, 0.4, "No pattern is clear enough to test. One may be worth watching."),
        (3, 1, 3.0, "No pattern is clear enough to test. One may be worth watching."),
        (2, 0, None, "No pattern is clear enough to test. 2 may be worth watching."),
    ],
)
def test_hints_are_worth_watching_only_beyond_chance(
    samples: ModuleType, rules: RuleBook, hints: int, fixed: int, chance: float | None, words: str
) -> None:
    items = [samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.4)] * hints
    items += [samples.hypothesis(evidence=Evidence.HINT, family="fixed")] * fixed
    assert sentences.verdict(samples.ranking(*items, hints_by_chance=chance), rules) == words


# One habit in ten of which little sign was seen: something would have stood out.
@pytest.mark.parametrize(("little", "shown"), [(0, False), (1, True)])
def test_no_habit_stood_out_is_said_where_one_would_have(
    samples: ModuleType, rules: RuleBook, little: int, shown: bool
) -> None:
    items = [samples.hypothesis(evidence=Evidence.CANNOT_TELL)] * 9
    items += [samples.hypothesis(evidence=Evidence.LITTLE_SIGN)] * little
    said = sentences.verdict(samples.ranking(*items, hints_by_chance=1.0), rules)
    assert said == ("No habit stood out. That is a full answer." if shown else NO_MORE)
    hidden = samples.ranking(*items[:9], hints_by_chance=1.0, outcomes=())
    assert sentences.verdict(hidden, rules) == (
        "We could not tell. A record this long would not reveal any difference."
    )
    mmol = samples.ranking(*items[:9], primary_outcome="wake_glucose")
    assert "mmol/L" in sentences.verdict(mmol, rules, Amounts("mmol/L"))


# Counts of high units against the difference give way to the means: 5 of 26 against 14 of 51
# higher, and yet 29.8 more.
def test_counts_that_point_against_the_difference_give_way_to_means(
    samples: ModuleType, rules: RuleBook
) -> None:
    item = samples.hypothesis(counts=Counts(26, 5, 51, 14, 0), difference=29.8, means=(112.0, 98.4))
    assert pattern.sentence(item, rules) == (
        "Short nights came before higher waking glucose. Waking glucose was 112 mg/dL on average "
        "after 26 short nights, and 98 after 51 others."
    )
    turned = pattern.sentence(replace(item, means=(98.0, 112.0)), rules)
    assert turned.endswith(
        "Once weekends, drift and sensors are allowed for, it is the other way round."
    )
    along = replace(item, counts=Counts(26, 15, 51, 14, 0))
    assert "on average" not in pattern.sentence(along, rules)
    assert "on average" not in pattern.sentence(replace(item, means=None), rules)


def test_what_passed_the_level_and_failed_another_check_is_worth_watching(
    samples: ModuleType, rules: RuleBook
) -> None:
    weak = samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.4)
    passed = samples.hypothesis(evidence=Evidence.HINT, p_adjusted=0.01)
    ranking = samples.ranking(passed, weak, weak, hints_by_chance=3.0)
    assert sentences.verdict(ranking, rules) == (
        "No pattern is clear enough to test. One may be worth watching."
    )


def test_luck_is_told_of_the_search_or_of_one_question(
    samples: ModuleType, rules: RuleBook
) -> None:
    item = samples.hypothesis(p=0.004, p_adjusted=0.214)
    assert sentences.luck(item, rules).endswith(" in about 21 of 100 records this long.")
    fixed = replace(item, family="fixed", p=0.034)
    assert sentences.luck(fixed, rules).endswith(" in about 3 of 100 records this long.")
    assert "fewer than 1 " in sentences.luck(replace(item, p_adjusted=0.004), rules)
    assert sentences.luck(replace(item, p=None, p_adjusted=None), rules) == ""


@pytest.mark.parametrize(
    ("worlds", "claimed", "interval"),
    [(200, 8, (0.0174, 0.0773)), (1, 1, (0.025, 1.0)), (200, 0, (0.0, 0.0183)), (0, 0, None)],
)
def test_the_error_rate_is_told_in_records_like_this_one(
    rules: RuleBook, worlds: int, claimed: int, interval: tuple[float, float] | None
) -> None:
    rate = claimed / worlds if worlds else None
    found = ErrorRate("c", worlds, 1000, 0, claimed, rate, interval, 0.05, None, None, (), 1, True)
    text = results.error_rate_sentence(found, rules)
    assert faults(text) == [], text
    if worlds == 200 and claimed:
        assert (
            "8 of 200 records like this one with nothing true in them showed something clear."
            in text
        )
    if not worlds:
        assert text == "1 usable day. At least 20 are needed to rank anything."


# The guard allows 5 of 100; 20 of 200 are twice that and no more, 21 are.
@pytest.mark.parametrize(("claimed", "often"), [(0, False), (20, False), (21, True)])
def test_months_moved_by_weeks_are_told_beside(rules: RuleBook, claimed: int, often: bool) -> None:
    found = ErrorRate(
        "c",
        200,
        1000,
        0,
        8,
        0.04,
        (0.0174, 0.0773),
        0.05,
        None,
        None,
        (),
        40,
        True,
        moved=200,
        moved_claimed=claimed,
    )
    text = results.error_rate_sentence(found, rules)
    assert faults(text) == [], text
    words = f"{claimed} of 200 records with each habit moved by whole weeks showed something clear."
    assert words in text
    assert ("may come from a weekly routine" in text) is often


def test_what_is_cautioned(rules: RuleBook) -> None:
    book = rules.cautions
    asked = [item.asked for item in book.intake.values()]
    texts = [
        *book.always, *book.with_patterns, *book.client_always,
        book.not_asked.format(names=asked[0]),
        *(rule.say.format(at="11.1 mmol/L", days=days)
          for rule in book.referral for days in ("1 day", "3 days")),
        *(item.when_yes for item in book.intake.values()),
        *(item.client_action for item in book.intake.values()),
    ]  # fmt: skip
    said = [
        text.replace("{days}", days) for text in texts for days in ("1 day", "103 days", "days")
    ]
    assert {text: faults(text) for text in said if faults(text)} == {}


LEADS = ("by_luck", "beyond", "plain", "shown", "closing", "behind", "title")
"""Titles, and lines that end with a command."""


def test_every_sentence_of_the_book_is_short_once_filled_in(rules: RuleBook) -> None:
    given = {
        "count": 3, "usable": "12 usable days", "need": 20, "size": "12 mg/dL",
        "which": "The last 2 hints are", "units": "days", "worth": "5 mg/dL",
        "further": "40 new days", "shown": 3, "found": 5, "chance": "1.4", "cannot_tell": 110,
        "power": 80, "n": 1, "many": "short nights",
        "little_sign": 40, "asked": "212 questions were", "level": "5", "day": "2026-02-01",
        "label": "time above your range", "records": "200 records", "claimed": 8, "low": 2,
        "high": 8,
    }  # fmt: skip
    given |= {"days": "3 days", "unit": "mg/dL", "client": "client-x", "folder": "client-x"}
    given |= {"span": "12 Jan to 23 Feb 2026", "reason": "half are the same.", "more": "8 days"}
    given |= {"changed": "a larger rise after the meal", "habits": "Late dinners", "number": 1}
    given |= {"each": "Each hour less sleep", "counts": "3 of 7 high, 2 of 24 others."}
    given |= {"with_high": 3, "with_": 7, "without_high": 2, "without": 24, "others": "others"}
    given |= {"mean_with": 112, "mean_without": 98, "detectable": "34 min", "usual": "27 min"}
    tables = (
        "rank",
        "cannot_tell",
        "luck",
        "hints",
        "list",
        "fixed",
        "worth",
        "detail",
        "error_rate",
    )
    for table in tables:
        for key, text in rules.wording[table].items():
            wrong = [fault for fault in faults(text.format(**given)) if fault != "no end"]
            assert wrong == [], (table, key)
            assert key in LEADS or text[-1] in ".?}", (table, key)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("A late dinner triggered it.", "causal"),
        ("It changed.", "causal"),
        ("That is 1 in 20.", "one in"),
        ("After {with_} nights.", "placeholder"),
        ("After None nights.", "placeholder"),
        ("After 3  nights.", "spaces"),
        ("After 3 nights .", "spaces"),
        ("After 1 short nights.", "number"),
        ("Then 1 were.", "number"),
        ("Then 3 was.", "number"),
        ("After 3 night.", "number"),
        ("one " * LONGEST + "one.", "long"),
        ("No end", "no end"),
    ],
)
def test_each_fault_would_be_found(text: str, fault: str) -> None:
    assert fault in faults(text)


def test_a_book_of_ones_own_that_lacks_a_sentence_is_told(rules: RuleBook) -> None:
    for wording in ({}, {"luck": {}}, {"luck": {"search": "{nothing}"}}, {"luck": 3}):
        book = rules.model_copy(update={"wording": wording})
        with pytest.raises(MinerError, match=r"search of \[luck\] is missing or cannot"):
            sentences.say(book, "luck", "search", count=1)


def test_where_no_outcome_can_be_ranked_the_verdict_says_so(
    samples: ModuleType, rules: RuleBook
) -> None:
    tied = Withheld("more than half the values are the same", 1.0, 0.5)
    closed = (OutcomeSummary("day_mean", "mg/dL", 5, None, None, 30, tied),)
    item = samples.hypothesis(p=None, p_adjusted=None, evidence=Evidence.CANNOT_TELL)
    for questions, items in ((0, ()), (0, (item,)), (1, (item,))):
        ranking = samples.ranking(*items, outcomes=closed, questions_asked=questions)
        assert sentences.verdict(ranking, rules) == (
            "Nothing could be checked: no glucose measure is known on enough days."
        )
        assert sentences.not_ranked(ranking, rules) == [
            "We could not look at the day's average: more than half the values are the same "
            "(100 %; at most 50 % would do)."
        ]
    by_meal = samples.ranking(item, questions_asked=0, unit="meal")
    assert sentences.verdict(by_meal, rules) == (
        "Nothing could be checked: no habit is known on enough meals."
    )


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        ("no_factors", "no habit varied enough."),
        ("no_factor_varies", "no habit varied enough."),
        ("average_never_wrong", "glucose stayed the same."),
        ("too_few_known_units", "There are too few meals to say whether"),
    ],
)
def test_why_all_habits_together_predict_nothing_is_told(
    rules: RuleBook, reason: str, words: str
) -> None:
    nan = float("nan")
    found = Together("rise", None, 0, 0, nan, nan, nan, nan, nan, 0, message(f"stats.{reason}"))
    text = results.together_sentence(found, rules, "meal")
    assert words in text
    assert "later ones" in text or "later meals" in text
    assert faults(text) == []


@pytest.mark.parametrize(
    ("guess", "difference", "level", "words"),
    [
        ("up", -8.4, Evidence.CLEAR, "It went the other way: lower."),
        ("down", 8.4, Evidence.HINT, "It went the other way: higher."),
        ("down", 8.4, Evidence.CANNOT_TELL,
         "So far it points the other way, higher. That may be luck."),
        ("up", -8.4, Evidence.LITTLE_SIGN,
         "So far it points the other way, lower. That may be luck."),
        ("up", 8.4, Evidence.CLEAR, ""),
        ("down", -8.4, Evidence.CANNOT_TELL, ""),
        (None, -8.4, Evidence.CLEAR, ""),
        ("up", None, Evidence.CANNOT_TELL, ""),
    ],
)  # fmt: skip
def test_a_result_against_the_guess_is_told(
    samples: ModuleType, rules: RuleBook, guess: Any, difference: Any, level: Evidence, words: str
) -> None:
    item = samples.hypothesis(
        family="fixed", fixed_on="2026-02-01", fixed_proven=True, guess=guess, evidence=level,
        difference=difference, interval=None,
    )  # fmt: skip
    assert sentences.against_guess(item, rules) == words
    told = " ".join(render(HypothesisTeller(rules, Amounts()).parts(item)).split())
    assert (words in told) if words else ("the other way" not in told)


@pytest.mark.parametrize("small", [True, False])
def test_of_a_small_claim_it_is_told(samples: ModuleType, rules: RuleBook, small: bool) -> None:
    # waking glucose: 5 mg/dL are worth acting on (outcomes.toml)
    item = samples.hypothesis(small=small)
    words = "on new days, expect too little to act on."
    text = " ".join(render(HypothesisTeller(rules, Amounts()).parts(item)).split())
    assert (words in text) is small


# What is clear and too small to act on is never the headline.
@pytest.mark.parametrize(
    ("small", "hints", "told"),
    [
        ((True, False), 0, "One pattern is clear enough to test."),
        ((True, True), 0, "No clear pattern is large enough to act on."),
        ((True,), 1, "No clear pattern is large enough to act on. "
         "One hint may be worth watching."),
        ((True,), 2, "No clear pattern is large enough to act on. "
         "2 hints may be worth watching."),
    ],
)  # fmt: skip
def test_a_small_claim_is_never_the_headline(
    samples: ModuleType, rules: RuleBook, small: tuple[bool, ...], hints: int, told: str
) -> None:
    claims = [
        samples.hypothesis(id=f"c{at}", evidence=Evidence.CLEAR, small=one)
        for at, one in enumerate(small)
    ]
    others = [
        samples.hypothesis(id=f"h{at}", evidence=Evidence.HINT, family="fixed")
        for at in range(hints)
    ]
    ranking = samples.ranking(*claims, *others)
    assert sentences.verdict(ranking, rules) == told


def long(text: str) -> list[str]:
    return [part for part in re.split(r"(?<=[.!?])\s+", text) if len(part.split()) > LONGEST]


@pytest.mark.parametrize("number", [0, 2, 3, 5])
def test_every_finding_is_told_in_short_sentences(
    page_clients: ModuleType, tmp_path: Path, number: int
) -> None:
    report = steps.check(steps.read_client(page_clients.write_invented(tmp_path, number)))
    told = [text for item in report.findings for text in (item.what, item.expected, item.do)]
    assert len(told) > 3
    assert [
        part for text in [*told, *map(str, report.not_usable.values())] for part in long(text)
    ] == []


@pytest.mark.parametrize("kind", ["preparation", "session", "take-home", "doctor"])
def test_every_page_is_written_in_short_sentences(
    brief: Briefing,
    rules: RuleBook,
    page_text: ModuleType,
    kind: str,
    request: pytest.FixtureRequest,
) -> None:
    chosen = [item.id for item in brief.ranking.hypotheses if len(item.factors) == 1][:3]
    page = request.getfixturevalue("render")(brief, kind, rules, chosen)
    blocks = page_text.seen(page)
    assert [part for text in blocks for part in long(text)] == []
