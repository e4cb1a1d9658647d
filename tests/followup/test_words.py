"""What is said of kept ideas and of tests."""

import pytest

from miner import rulebook
from miner.core.results import PairsTest, Plan, PlanResult, Shape, Wording, worded
from miner.core.results.follow import EveryLook, Following, KeptResult, NewUnits
from miner.render.terminal import render
from miner.words.amounts import Amounts
from miner.words.door import at_door
from miner.words.follow import follow_parts
from miner.words.plan import about, result_parts
from miner.words.wording import full_date


@pytest.fixture(scope="module")
def rules():
    return rulebook.load()


def kept(**changes):
    known = {
        "id": "4c28aa7c", "as_": "watch", "kept_on": "2026-03-01",
        "suggested_by_days_to": "2026-02-28", "read_on": "2026-03-28", "new_units": 20,
        "status": "waiting", "difference": None, "interval": None, "p": None, "p_adjusted": None,
        "factors": ("short_sleep",), "lag_days": (0,), "outcome": "wake_glucose",
        "unit_of": "day", "unit": "mg/dL", "direction": "up", "expected": 9.0,
        "smallest_worth_it": 5.0, "counts": NewUnits(20, 4, 13, 2),
    }  # fmt: skip
    return KeptResult(**(known | changes))


def told(item, rules):
    found = Following("c", "2026-03-20", (worded(item, Wording(rules)),))
    return " ".join(render(follow_parts(found, rules)).split())


def test_on_paper_dates_are_as_people_write_them_and_a_note_is_as_it_was_written(rules):
    item = kept(note="since 2026-02-14, you see", status="waiting")
    with at_door("paper"):
        said = told(item, rules)
    assert "Kept on 1 March 2026 to watch, suggested by days up to 28 February 2026" in said
    assert "The reading date is 28 March 2026. Live as usual until then." in said
    assert "(since 2026-02-14, you see)" in said
    assert "The reading date is 28 Mar 2026." in told(item, rules)


def test_a_test_that_changed_something_is_told_to_its_reader(rules):
    item = kept(tried_before="changed")
    assert "It changed when the client tested it." in told(item, rules)
    with at_door("client"):
        assert "It changed when you tested it." in told(item, rules)


def result(**changes):
    known = {
        "plan": "p1", "status": "no_change", "difference": -0.4, "interval": (-9.0, 9.0),
        "p": 0.9, "pairs_used": 8, "pairs_not_followed": 0,
        "as_followed": PairsTest(3, -2.0, None, 0.5), "id": "4c28aa7c",
        "factor": "short_sleep", "outcome": "wake_glucose", "unit": "mg/dL", "unit_of": "day",
        "worth_having": 10.0, "read_on": "2026-05-01", "planned_pairs": 8,
    }  # fmt: skip
    return PlanResult(**(known | changes))


def read(found, rules):
    return " ".join(render(result_parts(worded(found, Wording(rules)), rules)).split())


def test_every_new_unit_is_accounted_for(rules):
    # 20 days: 4 with it, 13 without; 2 without a known habit and 1 without a known outcome
    said = "20 new days: 4 short nights and 13 other nights, 3 not known."
    assert said in told(kept(), rules)
    one_each = told(kept(counts=NewUnits(20, 1, 1, 18)), rules)
    assert "20 new days: 1 short night and 1 other night, 18 not known." in one_each


def test_looks_every_day_say_since_when_and_what_they_cost(rules):
    looks = EveryLook(2.0, 20.0, False, 26, 56, 30, None)
    said = told(kept(every_look=looks), rules)
    assert "With a look every day, it would not be clear yet." in said
    assert (
        "Looking every day takes about 56 new days. Looking once, on the date, takes about 26."
        in said
    )
    assert "So looking every day takes about 30 days longer." in said
    looks = EveryLook(12.0, 20.0, True, 26, 56, 30, "2026-03-19")
    assert "it would have been clear since 19 Mar 2026." in told(kept(every_look=looks), rules)
    far = told(kept(every_look=EveryLook(1.0, 20.0, False, 900, None)), rules)
    assert "Looking every day takes longer than can be estimated." in far
    assert "days longer" not in far


# Method, 1a: the power on the date is printed; under 60 in 100 a test is proposed.
@pytest.mark.parametrize(("power", "few"), [(0.8, False), (0.6, False), (0.59, True)])
def test_how_often_the_date_finds_it_is_told(rules, power, few):
    said = told(kept(open=True, sought=7.0, power=power), rules)
    words = f"found by then in {'only ' if few else ''}about {round(100 * power)} of 100"
    assert f"A true difference of 7.0 mg/dL would be {words} such records." in said
    assert ("A test would find it more often." in said) is few
    assert "true difference" not in told(kept(open=True), rules)


def test_what_was_expected_is_told_of_a_claim(rules):
    over = {"status": "held_up", "difference": 8.0, "interval": (2.0, 14.0)}
    said = told(kept(**over), rules)
    assert "Waking glucose was about 8 mg/dL higher (2 to 14 higher) after" in said
    assert (
        "after 4 short nights than after 13 other nights. About 9 mg/dL higher was expected."
        in said
    )
    assert "expected" not in told(kept(**over, expected=None), rules)
    either = told(kept(**over | {"interval": (-3.0, 14.0)}), rules)
    assert "(3 lower to 14 higher)" in either


def test_the_difference_of_a_dose_names_what_it_is_for(rules):
    over = {"status": "held_up", "difference": 7.0, "interval": (1.0, 13.0), "shape": Shape.DOSE}
    said = told(kept(**over), rules)
    assert "7 mg/dL higher (1 to 13 higher) for each hour less sleep on 20 new days." in said


def test_a_no_names_the_size_that_was_looked_for(rules):
    said = read(result(), rules)
    assert said.startswith("No change of 10 mg/dL or more was found.")
    assert "A smaller change is not ruled out." in said
    assert "ruled out" not in read(result(status="changed", p=0.01), rules)


def test_what_was_not_settled_says_that_both_fit(rules):
    open_ = {"status": "not_settled", "difference": -6.0, "interval": (-14.0, 1.0), "p": 0.08}
    said = read(result(**open_), rules)
    assert "Waking glucose was about 6 mg/dL lower (14 lower to 1 higher) on days of the" in said
    assert "Both a change of 10 mg/dL and no change at all fit this." in said
    assert "fit this" not in read(result(**open_ | {"interval": (-9.0, 1.0)}), rules)


def test_more_than_was_agreed_on_is_said_of_a_change_alone(rules):
    large = {"difference": -16.0, "interval": (-27.0, -3.0), "p": 0.03}
    assert "more than the 10 mg/dL agreed on" in read(result(status="changed", **large), rules)
    assert "agreed on" not in read(result(status="not_settled", **large), rules)
    small = large | {"difference": -9.0}
    assert "agreed on" not in read(result(status="changed", **small), rules)


def test_what_is_kept_to_do_anyway_is_not_praised(rules):
    said = told(kept(as_="adopt", status=None), rules)
    assert "It is done anyway, so no verdict is promised." in said
    assert "Worth doing" not in said


def test_the_sensors_of_a_plan_agree_with_the_days_of_new_ones(rules):
    plan = Plan(
        plan="p", id="a", factor="short_sleep", outcome="wake_glucose", unit_of="day",
        unit="mg/dL", change="x", periods=(), pairs=6, period_days=4, offset_days=1, seed=1,
        smallest_p=0.03, power_at_worth_having=0.8, detectable=9.0, worth_having=9.0,
        pair_spread=5.0, weeks=7, sensors=4, read_on="2026-05-01",
        sensor_changes=("2026-03-01", "2026-03-15", "2026-03-29"),
    )  # fmt: skip
    said = about(plan, rules, Amounts("mg/dL"))[0]
    assert said.endswith("It takes 7 weeks and 4 sensors, counting the one worn at the start.")


def test_a_date_that_is_none_stands_as_it_is():
    assert full_date("2028-02-29") == "29 February 2028"
    assert full_date("2028-02-30") == "2028-02-30"
    assert full_date("x") == "x"


def test_too_few_pairs_have_no_range(rules):
    said = read(result(), rules)
    assert "In the 3 pairs that were followed, it was about 2 mg/dL lower (too few pairs" in said
    few = read(result(status="not_settled", interval=None, pairs_used=4), rules)
    assert "about 0.4 mg/dL lower (too few pairs for a range) on days of the change, in 4" in few


def test_what_was_kept_says_which_words_it_goes_on_with(rules):
    words = {"factors": ("tag:late coffee",), "lag_days": (1,)}
    said = "It is still counted with the words it was kept with: 'late coffee'."
    assert said in told(kept(**words, reworded=("late coffee",)), rules)
    assert "still counted" not in told(kept(**words), rules)
