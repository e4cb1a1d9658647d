"""What each caution holds back, and what lifts it, case by case.

The classes and what lifts them are a judgement of the trade (common practice, no source). The
limits: ADA Standards of Care, tables 2.2 and 2.5 (126 and 200 mg/dL, A1c of 6.5 %); Battelino et
al. 2019, Diabetes Care 42:1593 (below 54 mg/dL for at least 15 minutes, below 70 mg/dL).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import product

import numpy as np
import pytest

from miner.core.facts import TOPICS
from miner.core.messages import MinerError
from miner.followup.refusals import HeldBack
from miner.records.client import Clinician
from miner.tables import cautions, tabulate
from miner.tables.glucose.trace import trace_of
from miner.tables.referral import held_back, in_short, met_by

ALL = set(TOPICS)
DAYS = 8
SPAN = {"wake": 60, "high": 5, "low": 15, "under_70": 5}
VALUE = {"wake": 130.0, "high": 205.0, "low": 50.0, "under_70": 65.0}
HOUR = {"wake": "06", "high": "12", "low": "13", "under_70": "15"}
ON = {"wake": (2, 3), "high": (4,), "low": (5,), "under_70": (2, 3, 4)}


@pytest.fixture(scope="module")
def client_with(make, sensed, slept, rules):
    def build(*shown, answers=(), settled=None, a1c=None, tags=()):
        glucose = sensed("2026-03-01", np.full(DAYS * 288, 100.0))
        for name in shown:
            for day in ON[name]:
                begin = np.datetime64(f"2026-03-0{day}T{HOUR[name]}:00")
                inside = (glucose["clock"] >= begin) & (
                    glucose["clock"] < begin + np.timedelta64(SPAN[name], "m")
                )
                glucose.loc[inside, "glucose"] = VALUE[name]
        given = {"intake": dict.fromkeys(answers, "yes"), "tags": list(tags)}
        client = make(glucose, sleep=slept("2026-03-01", DAYS), **given)
        told = replace(client.settings, clinician=settled or Clinician(), a1c_percent=a1c)
        return replace(client, settings=told)

    return build


@pytest.fixture(scope="module")
def said_of(client_with, rules):
    def say(*shown, **given):
        client = client_with(*shown, **given)
        return [
            one for one in cautions(client, tabulate(client, rules, "day"), rules)[0] if one.class_
        ]

    return say


CASES = [
    # what is known, its class, open once informed, open once everything is agreed
    ({"shown": ("wake",)}, "refer", ALL, ALL),
    ({"shown": ("high",)}, "refer", ALL, ALL),
    ({"a1c": 6.5}, "refer", ALL, ALL),
    ({"answers": ("diabetes",)}, "refer", ALL, ALL),
    ({"answers": ("sleep_apnoea",)}, "refer", ALL, ALL),
    ({"shown": ("low",)}, "agree", {"sleep", "stress"}, ALL),
    ({"shown": ("under_70",)}, "agree", {"sleep", "stress"}, ALL),
    ({"answers": ("lows",)}, "agree", {"sleep", "stress"}, ALL),
    ({"answers": ("insulin",)}, "agree", {"sleep", "stress"}, ALL),
    ({"answers": ("medicines",)}, "agree", {"sleep", "stress"}, ALL),
    ({"answers": ("pregnancy",)}, "agree", {"sleep", "stress"}, ALL),
    (
        {"tags": ({"start": "2026-03-04 08:00", "tag": "metformin"},)},
        "agree",
        {"sleep", "stress"},
        ALL,
    ),
    ({"answers": ("eating_disorder",)}, "stop", set(), {"sleep", "movement"}),
]


@pytest.mark.parametrize(("known", "class_", "informed", "agreed"), CASES)
def test_what_each_caution_holds_back(said_of, known, class_, informed, agreed):
    shown, given = known.get("shown", ()), {k: v for k, v in known.items() if k != "shown"}
    day = date(2026, 3, 20)
    before, told, settled = (
        said_of(*shown, **given, settled=how)
        for how in (None, Clinician(day), Clinician(day, day, TOPICS))
    )
    assert {one.class_ for one in before} == {class_}
    assert all(one.comes_first and topics(one) == ALL for one in before)
    assert all(topics(one) == ALL - informed and not one.comes_first for one in told)
    assert all(topics(one) == ALL - agreed for one in settled)
    for topic in ALL:
        first = "informed" if topic in informed else "agreed" if topic in agreed else ""
        first = "informed" if class_ == "agree" else first
        assert lifted(before, topic) == first
        later = "agreed" if topic in agreed else ""
        assert lifted(told, topic) == (None if topic in informed else later)
        assert lifted(settled, topic) == (None if topic in agreed else "")


def topics(one):
    return {topic for topic, _ in one.waiting}


def lifted(said, topic):
    held, lift = held_back(said, topic)
    return lift if held else None


def test_an_agreement_opens_what_it_covers_and_no_more(said_of):
    for covers in ((), ("sleep",), ("movement",), ("meals", "movement")):
        agreed = Clinician(None, date(2026, 3, 20), covers) if covers else Clinician()
        (one,) = said_of(answers=("insulin",), settled=agreed)
        opened = set(covers) | ({"sleep", "stress"} if covers else set())
        assert topics(one) == ALL - opened


def test_what_was_told_covers_what_the_readings_had_shown_by_then(said_of):
    """Wake readings meet their rule on the 3rd, a reading of 200 comes on the 4th."""
    for day, waits in (("2026-03-02", 2), ("2026-03-03", 1), ("2026-03-04", 0)):
        found = said_of("wake", "high", settled=Clinician(date.fromisoformat(day)))
        assert sum(one.comes_first for one in found) == waits


def test_a_new_date_does_not_move_the_day_on_which_an_earlier_caution_was_lifted(said_of):
    """Readings of 126 are met on the 3rd; the client was told on the 4th, and again on the 20th."""
    first, later = Clinician(date(2026, 3, 4)), date(2026, 3, 20)
    (one,) = said_of("wake", settled=Clinician(later, before=(first,)))
    assert (one.since, dict(one.opened)) == ("2026-03-03", dict.fromkeys(ALL, "2026-03-04"))
    agreed = (Clinician(agreed=date(2026, 3, 4), covers=("meals",)), first)
    (one,) = said_of("low", settled=Clinician(None, later, ("meals", "movement"), before=agreed))
    told = {"sleep": "2026-03-20", "stress": "2026-03-20", "meals": "2026-03-20"}
    assert dict(one.opened) == told | {"movement": "2026-03-20"}


def test_treated_diabetes_is_not_sent_to_a_laboratory_again(said_of):
    treated = Clinician(treats_diabetes=True)
    assert said_of("wake", "high", answers=("diabetes",), a1c=7.2, settled=treated) == []
    (low,) = said_of("low", answers=("diabetes",), settled=treated)
    assert low.class_ == "agree"


def test_a_medicine_that_does_not_act_on_glucose_holds_nothing_back(said_of):
    assert said_of(tags=({"start": "2026-03-04 08:00", "tag": "paracetamol"},)) == []


def test_a_refusal_names_every_caution_and_what_lifts_it(said_of):
    both = said_of("high", answers=("insulin",))
    said = r"yes to insulin, 200 mg/dL or more on 1 day \(4 Mar\)"
    with pytest.raises(MinerError, match=said) as told:
        HeldBack(both, "my clients/c-1", ("stress",)).require_free("meals")
    assert "miner note 'my clients/c-1' --informed DATE" in str(told.value)
    assert told.value.code == "followup.held_informed"
    informed = said_of("high", answers=("insulin",), settled=Clinician(date(2026, 3, 9)))
    held = HeldBack(informed, "c-1", ("stress",))
    held.require_free("sleep")
    with pytest.raises(MinerError, match="yes to insulin") as told:
        held.require_free("meals")
    assert "miner note c-1 --agreed DATE --covers stress,meals" in str(told.value)
    assert told.value.code == "followup.held_agreed"
    assert "200" not in str(told.value)
    stopped = said_of(answers=("eating_disorder", "insulin"))
    with pytest.raises(MinerError) as told:
        HeldBack(stopped).require_free("meals")
    assert told.value.code == "followup.held_always"
    assert lifted(stopped, "meals") == ""


def naive_low(values, cadence, limit=54.0, lasting=15.0):
    """Return which readings lie in a run below a limit that lasts long enough, one by one."""
    found = [False] * len(values)
    at = 0
    while at < len(values):
        end = at
        while end < len(values) and values[end] < limit:
            end += 1
        if end > at and (end - at) * cadence >= lasting:
            found[at:end] = [True] * (end - at)
        at = max(end, at + 1)
    return found


@pytest.mark.parametrize("cadence", [1, 5, 15])
def test_lows_last_as_long_as_their_readings_stand_for(make, sensed, rules, cadence):
    (rule,) = (one for one in rules.cautions.referral if one.kind == "any_below")
    rng = np.random.default_rng(cadence)
    for _ in range(20):
        values = np.where(rng.random(400) < 0.6, 50.0, 80.0)
        trace = trace_of(make(sensed("2026-03-01", values, every_min=cadence)))
        assert met_by(trace, rule).tolist() == naive_low(values, cadence)


def test_a_gap_in_the_readings_ends_a_low(make, sensed, rules):
    (rule,) = (one for one in rules.cautions.referral if one.kind == "any_below")
    glucose = sensed("2026-03-01", np.full(288, 90.0))
    inside = glucose["clock"].between("2026-03-01 12:00", "2026-03-01 12:40")
    glucose.loc[inside, "glucose"] = 50.0
    kept = glucose[~glucose["clock"].between("2026-03-01 12:10", "2026-03-01 12:30")]
    assert not met_by(trace_of(make(kept)), rule).any()
    assert met_by(trace_of(make(glucose)), rule).sum() == inside.sum()


def test_every_class_is_complete(rules):
    """What neither word opens is held back for good: meals and stress by the class stop alone."""
    book = rules.cautions.class_
    for name, topic in product(book, TOPICS):
        never = topic not in {*book[name].opened_by_informed, *book[name].opened_by_agreed}
        assert never == (name == "stop" and topic in ("stress", "meals"))


def test_a_reason_comes_with_its_worst_value_and_what_waits_for_agreement(said_of):
    by_kind = {one.rests_on.code: one for one in said_of("wake", "high", "low", "under_70")}
    worst = {code.removeprefix("tables."): one.worst for code, one in by_kind.items()}
    assert worst == {
        "wake_at_least": 130.0,
        "any_at_least": 205.0,
        "any_below": 50.0,
        "below_on_days": 50.0,
    }
    assert by_kind["tables.any_at_least"].agreement == ()
    assert by_kind["tables.any_below"].agreement == ("movement", "meals")
    (feared,) = said_of(answers=("eating_disorder",))
    assert (feared.agreement, feared.worst) == (("sleep", "movement"), None)


def test_what_is_taken_is_known_from_the_intake_or_a_tag(client_with, rules):
    tag = {"start": "2026-03-04 08:00", "tag": "metformin"}
    told = client_with(answers=("insulin",)), client_with(tags=(tag,))
    for client in (*told, client_with(answers=("lows",))):
        table = tabulate(client, rules, "day")
        said = [one.medicine for one in cautions(client, table, rules)[0] if one.medicine]
        assert table.medicine is bool(said)
    assert [tabulate(client, rules, "day").medicine for client in told] == [True, True]


def test_a_row_of_a_caseload_says_in_short_what_waits_and_what_was_told(client_with, rules):
    settled = Clinician(informed=date(2026, 3, 4))
    client = client_with("high", "low", answers=("sleep_apnoea",), settled=settled)
    said = cautions(client, tabulate(client, rules, "day"), rules)[0]
    assert [str(one) for one in in_short(said)] == [
        "refer first: below 54 mg/dL for 15 minutes or longer on 1 day",
        "asked on 2026-03-04 to see a clinician: yes to sleep apnoea; 200 mg/dL or more on 1 day",
    ]
