"""The whole ranking against a brute-force one written from the description of the method."""

from functools import cache

import naive
import pytest
from small_tables import RULES, random_table

from miner.core.results import DoubtCode, Evidence, Shape
from miner.hypotheses.design import Run
from miner.hypotheses.rank import RankingRequest, rank_table
from miner.stats.maxt import shuffles

FOUR = ("minutes_above", "wake_glucose", "overnight_mean", "day_mean")
THREE = ("day_mean", "wake_glucose", "minutes_above")
TWO = ("overnight_mean", "day_mean")
CASES = {
    # 30 days in which nothing is true; 40 and 36 with one strong effect; half of the notes gone
    "nothing": (0, 99, {"days": 30, "factors": 6, "outcomes": FOUR[:3], "world": "independent"}),
    "one": (1, 79, {"days": 40, "factors": 8, "outcomes": FOUR[:3], "shift": 3.0}),
    "four": (
        2, 59, {"days": 36, "factors": 7, "outcomes": FOUR, "world": "ar1_plus_noise", "shift": 2.5}
    ),
    "weekend": (
        3, 99, {"days": 28, "factors": 7, "outcomes": FOUR[:3], "world": "weekend_and_drift"}
    ),
    "sensors": (
        5, 99, {"days": 38, "factors": 6, "outcomes": FOUR[:3], "world": "sensor_steps", "shift": 2}
    ),
    "short": (6, 99, {"days": 26, "factors": 6, "outcomes": FOUR[1:], "world": "skewed"}),
    "fading": (
        7, 119, {"days": 40, "factors": 7, "outcomes": FOUR[:3], "world": "fading_logs", "shift": 3}
    ),
    # two factors together move the mean
    "pair": (3, 479, {"days": 40, "factors": 5, "outcomes": TWO[1:] + THREE[1:2],
                      "world": "independent", "shift": 1.0, "both": 26.0}),
    # read by the clock it does not hold; a few values carry it
    "clock": (1, 119, {"days": 40, "factors": 7, "outcomes": TWO, "world": "skewed",
                       "shift": 1.0, "clock_noise": 20.0}),
    "order": (8, 119, {"days": 40, "factors": 7, "outcomes": TWO, "world": "skewed",
                       "shift": 1.0, "clock_noise": 20.0}),
    # one habit is made from the weekend and the drift, one from the sensor: tested without them
    "made": (4, 99, {"days": 48, "factors": 5, "outcomes": FOUR[:3], "world": "weekend_and_drift",
                     "shift": 1.5}),
    # a week of its own in habits and glucose; days with a rare habit scatter further
    "weekly": (10, 99, {"days": 60, "factors": 8, "outcomes": FOUR[:2], "world": "weekly_1.4"}),
    "uneven": (4, 99, {"days": 40, "factors": 7, "outcomes": TWO, "world": "uneven_3",
                       "shift": 2.0}),
    # habits are measured: one measure moves the first outcome, two are nearly the same
    "doses": (0, 99, {"days": 40, "factors": 7, "outcomes": THREE, "world": "independent",
                      "dose": 9.0}),
    "dose or cut": (3, 99, {"days": 44, "factors": 6, "outcomes": TWO, "shift": 1.5, "dose": 2.0}),
    # the same in 62 days; one factor is a copy of another, one is the weekend
    "twins": (0, 59, {"days": 62, "factors": 6, "outcomes": THREE, "world": "independent",
                       "both": 22.0, "twins": True, "clock_noise": 12.0}),
}  # fmt: skip


MADE_FROM = {"late_dinner": ("rest_day", "day_number"), "much_stress": ("sensor",)}


def _rules(name):
    factors = dict(RULES.factors)
    if name == "made":
        for factor, columns in MADE_FROM.items():
            factors[factor] = factors[factor].model_copy(update={"made_from": columns})
    if name == "weekly":
        # every habit may be the reason of every other
        names = tuple(key for key in factors if ":" not in key)
        factors |= {key: factors[key].model_copy(update={"confounders": names}) for key in names}
    # of an uneven world every habit is looked at, the rare and the frequent, and strictly
    strict = {"unbalanced_share": 0.45} if name == "uneven" else {}
    guard = RULES.guardrails.model_copy(update=strict)
    return RULES.model_copy(update={"factors": factors, "guardrails": guard})


@cache
def _made(name):
    seed, draws, options = CASES[name]
    table = random_table(seed, **options)
    primary = options["outcomes"][0]
    found = rank_table(
        table, _rules(name), RankingRequest(primary=primary), run=Run(draws=draws, seed=seed)
    )
    return table, primary, found


def _compare(found, answer):
    name = (found.factors, found.outcome)
    assert found.counts.to_dict() == answer["counts"], name
    for ratio in ("support", "confidence", "lift", "leverage"):
        assert getattr(found.counts, ratio) == pytest.approx(answer[ratio], abs=1e-12), name
    assert found.evidence == answer["evidence"], name
    if answer["withheld"] is None:
        assert found.withheld is None, name
    else:
        assert found.withheld is not None, name
        assert str(found.withheld.reason).startswith(answer["withheld"]), name
    assert {doubt.code for doubt in found.doubts} == set(answer["doubts"]), name
    if "p" not in answer:
        assert found.p is found.p_adjusted is found.difference is found.interval is None
        return
    assert found.travels_with == tuple(answer["travels_with"]), name
    assert (found.shape, found.span) == (answer["shape"], pytest.approx(answer["span"])), name
    assert found.p == pytest.approx(answer["p"], rel=1e-3 if answer["both"] else 1e-7), name
    assert found.p_adjusted == pytest.approx(answer["p_adjusted"], abs=1e-12), name
    assert found.difference == pytest.approx(answer["difference"], rel=1e-7), name
    assert found.standard_error == pytest.approx(answer["se"], rel=1e-7), name
    assert found.degrees_of_freedom == answer["df"], name
    if answer["interval"] is None:
        assert found.interval is None, name
    else:
        assert found.interval == pytest.approx(answer["interval"], rel=1e-4, abs=1e-4), name
    if answer["expected"] is None:
        assert found.expected_on_new_days is None, name
    else:
        assert found.expected_on_new_days == pytest.approx(answer["expected"], rel=1e-6), name
    assert found.small == answer["small"], name


@pytest.mark.parametrize("name", CASES)
def test_every_number_is_that_of_the_naive_ranking(name):
    table, primary, ranked = _made(name)
    usable = table.frame[table.frame["usable"]]
    seed, draws, _ = CASES[name]
    answers, questions = naive.rank(
        table, _rules(name), primary, shuffles(len(usable), draws, seed)
    )
    assert ranked.usable_units == len(usable)
    assert ranked.left_out_units == len(table.frame) - len(usable)
    assert ranked.questions_asked == questions
    found = {(item.factors, item.outcome): item for item in ranked.hypotheses}
    singles = {rule for rule in answers if len(rule[0]) == 1}
    assert {rule for rule in found if len(rule[0]) == 1} == singles
    told = {rule for rule in answers if answers[rule]["evidence"] in ("clear", "hint")} - singles
    assert {rule for rule in found if len(rule[0]) > 1} == told
    span = usable["day_number"].iloc[-1] - usable["day_number"].iloc[0] + 1
    for rule in singles | told:
        _compare(found[rule], answers[rule])
    settled = 0
    # a rule in three: each takes hundreds of powers
    for rule in sorted(singles | told)[::3]:
        answer = answers[rule]
        if "settle" not in answer:
            assert found[rule].days_to_settle is None, rule
            continue
        units = sum(answer["counts"][side] for side in ("with", "without", "unknown"))
        days = naive.days_to_settle(answer, span, units, _rules(name))
        assert found[rule].days_to_settle == days, rule
        settled += days is not None
    assert settled or name not in ("independent", "persistent")


# What the cases must hold so that the comparison above is one: every level, withheld rules of
# every kind, rules of two, and a claim that became a hint.
def test_the_cases_show_every_level():
    found = [item for name in CASES for item in _made(name)[2].hypotheses]
    assert {item.evidence for item in found} == set(Evidence)
    reasons = {str(item.withheld.reason) for item in found if item.withheld is not None}
    for start in ("it came on too few days", "it came on the same days as ", naive.NUISANCE):
        assert any(reason.startswith(start) for reason in reasons), start
    sets = [item for item in found if len(item.factors) > 1]
    assert {item.evidence for item in sets} >= {Evidence.CLEAR}
    doubts = {doubt.code for item in found for doubt in item.doubts}
    assert doubts >= set(DoubtCode) - {DoubtCode.ONE_DAY, DoubtCode.OTHER_WAY, DoubtCode.MEDICINE}
    assert {item.shape for item in found if item.evidence is Evidence.CLEAR} == set(Shape)
