"""Alternating tests: how they are laid out, what is refused, how they are read."""

import re
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise, product

import numpy as np
import pandas as pd
import pytest
from fresh_tables import idea, row_date, table_of

from miner import rulebook
from miner.core.messages import MinerError
from miner.core.results import CautionKind, CautionText, PlanPeriod
from miner.followup import planning
from miner.followup.planning import Wish, make_plan
from miner.followup.refusals import HeldBack, require_testable
from miner.followup.sizes import Size, meal_of, of_meal, scatter, sized, with_and_without
from miner.ledger import PlanEntry
from miner.render.pages import plan_page
from miner.render.terminal import render
from miner.stats.power import pairs_power
from miner.words.amounts import in_unit
from miner.words.lengths import preview_parts
from miner.words.plan import plan_calendar, plan_parts
from miner.words.wording import dated, say

START = date(2026, 7, 6)
SIZE = Size(period_days=3, leave_out_days=1, pairs=6, spread=10.0)


@pytest.fixture(scope="module")
def rules():
    return rulebook.load()


def made(rules, factor="late_dinner", wish=None, changes=(), seed=7, **more):
    table = table_of(rules)
    kept = idea(factor, lag_days=[rules.factor(factor).lag["day"]], **more)
    wish = wish or Wish(START, worth_having=60.0)
    carry_over = rules.factor(factor).carry_over_days
    size = sized(scatter(table, rules, kept.outcome), carry_over, wish.pairs or 12)
    return make_plan(kept, rules, wish, size, seed=seed, sensor_changes=changes)


def days_of(plan):
    return [(date.fromisoformat(p.first), date.fromisoformat(p.last)) for p in plan.periods]


def test_every_pair_has_both_arms_in_days_that_follow(rules):
    plan = made(rules)
    assert plan.pairs >= 6
    assert plan.pairs == len(plan.periods) // 2
    assert plan.smallest_p == 2 / 2**plan.pairs
    for first, second in zip(plan.periods[::2], plan.periods[1::2], strict=True):
        assert (first.pair, {first.arm, second.arm}) == (second.pair, {"change", "usual"})
        assert date.fromisoformat(second.first) - date.fromisoformat(first.last) == timedelta(1)
    assert all(b[0] > a[1] for a, b in pairwise(days_of(plan)))
    assert days_of(plan)[0][0] == START


def test_the_order_is_a_coin_in_each_pair(rules):
    orders = {
        tuple(p.arm for p in made(rules, wish=Wish(START, 60.0), seed=seed).periods[::2])
        for seed in range(60)
    }
    first = np.array([[arm == "change" for arm in order] for order in orders])
    assert len(orders) > 30
    assert {0, 1} <= set(first[:, 0].astype(int))
    # not balanced: some orders have the change first in under a third of the pairs
    assert first.mean(axis=1).min() < 1 / 3
    assert made(rules, wish=Wish(START, 60.0)) == made(rules, wish=Wish(START, 60.0))


def test_before_it_is_agreed_on_nothing_of_the_order_is_there(rules):
    plan, drawn = made(rules, seed=None), made(rules)
    assert (plan.plan, plan.seed, {p.arm for p in plan.periods}) == ("", None, {"undrawn"})
    same = [replace(p, arm="undrawn") for p in drawn.periods]
    assert list(plan.periods) == same
    assert replace(drawn, plan="", seed=None, periods=plan.periods) == plan
    told = render(preview_parts(replace(plan, written=False), rules, "client-01", detail=True))
    assert "A, the change" not in told
    assert (
        f"{plan.pairs} {dated(plan.periods[-2].first)} {dated(plan.periods[-1].first)}"
        in " ".join(told.split())
    )
    assert "A, the change" in render(plan_parts(drawn, rules))


def test_the_seed_is_of_the_entry_that_keeps_the_idea_alone():
    seeds = {planning.plan_seed(str(at)) for at in range(200)}
    assert len(seeds) == 200
    assert all(0 <= seed < 2**32 for seed in seeds)
    assert planning.plan_seed("a") == planning.plan_seed("a")


@pytest.mark.parametrize(
    ("at", "late"),
    [
        ("2026-07-05T23:00:00+00:00", False), ("2026-07-06T08:00:00+00:00", False),
        ("2026-07-07T02:00:00+00:00", False), ("2026-07-08T00:00:00+00:00", True),
        ("2026-11-25T09:00:00+00:00", True), ("some day", False),
    ],
)  # fmt: skip
def test_a_plan_drawn_after_its_first_day_is_known(at, late):
    # in the zones furthest west 2 a.m. of the 7th in UTC is still the 6th
    assert planning.drawn_late("2026-07-06", at) is late


def test_more_pairs_find_more_and_there_are_never_fewer_than_six(rules):
    few, many = (made(rules, wish=Wish(START, 60.0, pairs=pairs)) for pairs in (6, 20))
    assert (few.pairs, many.pairs) == (6, 20)
    assert few.power_at_worth_having < many.power_at_worth_having
    for plan in (few, many):
        power = pairs_power(60.0, plan.pair_spread, plan.pairs)
        assert plan.power_at_worth_having == pytest.approx(power)
        assert pairs_power(plan.detectable, plan.pair_spread, plan.pairs) == pytest.approx(
            0.8, abs=0.005
        )
    with pytest.raises(MinerError, match="at least 6 pairs"):
        made(rules, wish=Wish(START, 60.0, pairs=5))


def test_the_spread_of_a_pair_is_that_of_the_client_s_days(rules):
    # independent days, SD 40 min: a pair of means of m days scatters by 40 sqrt(2 / m)
    plan = made(rules)
    counted = plan.period_days - plan.periods[0].leave_out_days
    assert plan.pair_spread == pytest.approx(40 * np.sqrt(2 / counted), rel=0.3)
    assert scatter(table_of(rules), rules, "minutes_above").units_a_day == 1


def test_carry_over_days_are_not_counted(rules):
    assert {p.leave_out_days for p in made(rules, "late_dinner").periods} == {0}
    sleep = made(rules, "short_sleep")
    assert {p.leave_out_days for p in sleep.periods} == {1}
    assert sleep.periods[0].to_dict()["leave_out_first_day"] is True
    assert {p.period_days for p in (sleep, made(rules, "late_dinner"))} == {1, 2}
    # the evening of a day belongs to the night that opens the next row
    assert sleep.offset_days == rules.factor("short_sleep").lag["day"] + 1
    end = date.fromisoformat(sleep.periods[-1].last) + timedelta(days=sleep.offset_days)
    assert sleep.read_on == end.isoformat()


@pytest.mark.parametrize("gap", range(1, 12))
def test_a_known_sensor_change_falls_between_pairs(rules, gap):
    change = START + timedelta(days=gap)
    plan = made(rules, changes=[date(2026, 5, 1), change])
    spans = [
        (date.fromisoformat(a.first), date.fromisoformat(b.last))
        for a, b in zip(plan.periods[::2], plan.periods[1::2], strict=True)
    ]
    assert all(not first <= change <= last for first, last in spans)
    assert plan.sensor_changes[0] == change.isoformat()
    assert plan.sensors == 1 + len(plan.sensor_changes)
    # beyond the last one that is known, no sensor is worn longer than its days
    worn = [change, *map(date.fromisoformat, plan.sensor_changes[1:])]
    worn.append(date.fromisoformat(plan.periods[-1].last))
    assert max((b - a).days for a, b in pairwise(worn)) <= planning.SENSOR_DAYS
    assert all(not first <= day <= last for day in worn[1:-1] for first, last in spans)


@pytest.mark.parametrize("ago", range(1, 14))
def test_a_sensor_that_is_worn_already_counts(rules, ago):
    put_on = START - timedelta(days=ago)
    plan = made(rules, changes=[put_on])
    worn = [put_on, *map(date.fromisoformat, plan.sensor_changes)]
    worn.append(date.fromisoformat(plan.periods[-1].last))
    assert max((b - a).days for a, b in pairwise(worn)) <= planning.SENSOR_DAYS


def test_without_a_known_change_sensors_are_worn_their_days(rules):
    plan = made(rules, wish=Wish(START, 40.0))
    changes = [date.fromisoformat(day) for day in plan.sensor_changes]
    worn = [START - timedelta(days=1), *changes, date.fromisoformat(plan.read_on)]
    assert changes
    assert max((b - a).days for a, b in pairwise(worn)) <= planning.SENSOR_DAYS
    assert all(not first <= day <= last for day in changes for first, last in days_of(plan))


def test_what_takes_too_long_is_refused(rules):
    with pytest.raises(MinerError, match="smaller than what is worth acting on"):
        made(rules, wish=Wish(START, 3.0))
    with pytest.raises(MinerError, match="at least 6 pairs"):
        made(rules, wish=Wish(START, 60.0, pairs=5))
    with pytest.raises(MinerError, match="900 pairs take more than 26 weeks"):
        made(rules, wish=Wish(START, 60.0, pairs=900))


def test_too_few_days_do_not_tell_the_scatter(rules):
    with pytest.raises(MinerError, match="do not show how much it varies"):
        scatter(table_of(rules, days=9), rules, "minutes_above")


def test_an_outcome_that_never_differs_is_not_tested(rules):
    table = table_of(rules)
    table.frame["minutes_above"] = 0.0
    with pytest.raises(MinerError, match="on all 90 days"):
        scatter(table, rules, "minutes_above")


def refused(rules, factors, direction="up", cautions=(), worse="higher"):
    with pytest.raises(MinerError) as told:
        require_testable(factors, "day", direction, worse, rules, HeldBack(cautions))
    return told.value.message


def with_factor(rules, name, **update):
    rule = rules.factors["late_dinner"].model_copy(update=update)
    return rules.model_copy(update={"factors": dict(rules.factors) | {name: rule}})


def test_what_must_not_be_tested_is_refused_with_its_reason(rules):
    assert "medicine" in refused(rules, ["tag:metformin"])
    assert "medicine" in refused(with_factor(rules, "evening_dose"), ["evening_dose"])
    assert "alcohol" in refused(rules, ["tag:red wine"])
    assert "alcohol" in refused(with_factor(rules, "x", phrase="two beers"), ["x"], "down")
    closed = with_factor(rules, "late_dinner", may_be_tested=False)
    assert "does not let 'late_dinner' be tested" in refused(closed, ["late_dinner"])
    assert "does not let 'tag:restaurant' be tested" in refused(rules, ["tag:restaurant"])
    assert "several habits" in refused(rules, ["late_dinner", "short_sleep"])


@pytest.mark.parametrize(
    ("factor", "direction"),
    [("short_sleep", "down"), ("active_day", "up"), ("late_dinner", "down")],
)
def test_only_the_helpful_arm_is_planned(rules, factor, direction):
    # nobody is asked to sleep less, move less, or eat later
    assert "nobody is asked to try the better side" in refused(rules, [factor], direction)
    other = "up" if direction == "down" else "down"
    assert require_testable([factor], "day", other, "higher", rules, HeldBack()).try_
    assert require_testable([factor], "day", direction, "lower", rules, HeldBack()).try_


@pytest.mark.parametrize("kind", [CautionKind.INTAKE, CautionKind.REFERRAL])
def test_a_caution_comes_first(rules, kind):
    said = [CautionText(kind, "See a clinician.", waiting=(("meals", "informed"),))]
    assert "See a clinician." in refused(rules, ["late_dinner"], cautions=said)
    always = [CautionText(CautionKind.ALWAYS, "Not a diagnosis.")]
    assert require_testable(["late_dinner"], "day", "up", "higher", rules, HeldBack(always))


def periods(pairs, length=2, start=START, seed=1):
    size = Size(length, 0, pairs, 1.0)
    return planning.lay_out(size, start, 0, seed, [], 10_000)[0]


@cache
def long_table():
    return table_of(rulebook.load(), days=150)


def planned_table(rules, plan_periods, effect, rng, offset=0):
    """A table whose outcome moves by the effect on rows of the change, by SD 40 otherwise."""
    table = long_table()
    frame = table.frame.copy()
    frame["minutes_above"] = 100 + 40 * rng.normal(size=len(frame))
    frame["late_dinner"] = 1.0
    for period in plan_periods:
        if period.arm == "change":
            first, last = (date.fromisoformat(day) for day in (period.first, period.last))
            for k in range((last - first).days + 1):
                row = (first + timedelta(days=k + offset)).isoformat()
                frame.loc[row, "minutes_above"] += effect
                frame.loc[(first + timedelta(days=k)).isoformat(), "late_dinner"] = 0.0
    return replace(table, frame=frame)


def read(table, plan_periods, ticks=None, offset=0, lag=0):
    return planning.read_pairs(
        table, plan_periods, outcome="minutes_above", offset_days=offset,
        shown=planning.Shown("late_dinner", "without", offset - lag), ticks=ticks or {},
    )  # fmt: skip


@pytest.mark.prove
def test_the_test_errs_as_it_says_and_finds_what_it_promises(rules):
    start = date(2026, 3, 9)
    rng = np.random.default_rng(12)
    found = {0.0: 0, -60.0: 0}
    runs = 120
    for effect in found:
        for run in range(runs):
            own = periods(10, start=start, seed=run)
            seen, _ = read(planned_table(rules, own, effect, rng), own)
            found[effect] += planning.test_of(seen, 0).p <= 0.05
    # 2-day periods: SD of a pair 40; ten pairs find 60 in 98 of 100 (t test, E-POWER's formula)
    power = pairs_power(60, 40, 10)
    assert found[-60.0] / runs == pytest.approx(
        power, abs=3 * np.sqrt(power * (1 - power) / runs) + 0.01
    )
    assert found[0.0] / runs <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / runs)


def test_the_outcome_is_read_from_the_rows_that_follow(rules):
    own = periods(6, start=date(2026, 3, 9))
    table = planned_table(rules, own, -1000.0, np.random.default_rng(1), offset=1)
    seen, _ = read(table, own, offset=1, lag=1)
    assert all(pair.difference < -800 for pair in seen)
    other, _ = read(table, own)
    assert not all(pair.difference < -800 for pair in other)


def test_days_left_out_and_unusable_days_do_not_count(rules):
    own = tuple(replace(p, leave_out_days=1) for p in periods(6, 3, date(2026, 3, 9)))
    table = planned_table(rules, own, 0.0, np.random.default_rng(1))
    seen, _ = read(table, own)
    assert {pair.change_units for pair in seen} == {2}
    first = next(p for p in own if p.arm == "change")
    kept_days = planning._days(first, 0)[1:]
    mean = table.frame.loc[kept_days, "minutes_above"].mean()
    assert seen[first.pair - 1].change == pytest.approx(mean)
    table.frame.loc[kept_days, "usable"] = False
    again, _ = read(table, own)
    assert again[first.pair - 1].difference is None
    assert planning.test_of(again, 0).pairs_used == 5


def test_followed_by_the_records_and_by_ticks(rules):
    own = periods(6, start=date(2026, 3, 9))
    table = planned_table(rules, own, 0.0, np.random.default_rng(1))
    seen, differ = read(table, own)
    assert ({pair.followed for pair in seen}, differ) == ({True}, 0)
    change = {p.pair: p for p in own if p.arm == "change"}
    usual = {p.pair: p for p in own if p.arm == "usual"}
    said_no = dict.fromkeys(planning._days(change[1], 0), "no")
    forgot = dict.fromkeys(planning._days(change[2], 0), "forgot")
    not_usual = dict.fromkeys(planning._days(usual[3], 0), "no")
    seen, differ = read(table, own, said_no | forgot | not_usual)
    assert [pair.followed for pair in seen] == [False, True, False, True, True, True]
    assert differ == 2
    table.frame["late_dinner"] = np.nan
    seen, _ = read(table, own, said_no)
    assert [pair.followed for pair in seen] == [False, None, None, None, None, None]


def test_where_records_do_not_show_the_change_only_ticks_tell(rules):
    own = periods(6, start=date(2026, 3, 9))
    table = planned_table(rules, own, 0.0, np.random.default_rng(1))
    change = {p.pair: p for p in own if p.arm == "change"}
    ticks = dict.fromkeys(planning._days(change[1], 0), "yes")
    ticks |= dict.fromkeys(planning._days(change[2], 0), "no")
    seen, differ = planning.read_pairs(
        table, own, outcome="minutes_above", offset_days=0,
        shown=planning.Shown(None, "without", 0), ticks=ticks,
    )  # fmt: skip
    assert [pair.followed for pair in seen] == [True, False, None, None, None, None]
    assert differ == 0
    # what is tried there leaves the factor itself as it was
    shown = {name for name, rule in rules.factors.items() if not rule.change_shows}
    assert {"high_carb", "high_carb_dinner", "much_stress"} <= shown
    assert "late_dinner" not in shown


@pytest.mark.parametrize(
    ("differences", "worth", "status"),
    [
        ([5, 6, 7, 8, 9, 10], 4, "changed"),
        ([-5, -6, -7, -8, -9, -10], 4, "changed"),
        ([1, -1, 2, -2, 1, -1.5, 0.5], 4, "no_change"),
        ([1, -1, 2, -2, 1, -1.5, 0.5], 1.5, "not_settled"),
        ([5, 6, 7, 8, 9], 4, "not_settled"),
        ([0.1, 0.1, -0.1, 0.1, 0.1], 4, "not_settled"),
    ],
)
def test_statuses(differences, worth, status):
    seen = [planning.PairRead(k, float(d), 0.0, 2, 2, True) for k, d in enumerate(differences)]
    assert planning.status_of(planning.test_of(seen, 0), worth) == status


def test_no_pair_at_all_settles_nothing():
    test = planning.test_of([], 0)
    assert (test.pairs_used, test.p, planning.status_of(test, 5)) == (0, None, "not_settled")


def test_periods_come_back_from_the_ledger(rules):
    plan = made(rules)
    assert PlanEntry.read(plan.to_dict()).periods == plan.periods
    assert isinstance(plan.periods[0], PlanPeriod)


def test_the_calendar_file_is_read_back_and_tells_nothing(rules):
    from icalendar import Calendar

    plan = replace(made(rules), stop_rules=(say(rules, "plan", "stop_worry"),))
    text = plan_calendar(plan, rules)
    events = list(Calendar.from_ical(text).walk("VEVENT"))
    own = [item for item in events if str(item["summary"]) != "S"]
    assert [
        (item.decoded("dtstart"), item.decoded("dtend") - timedelta(days=1)) for item in own
    ] == [(date.fromisoformat(p.first), date.fromisoformat(p.last)) for p in plan.periods]
    letters = {"change": "A", "usual": "B"}
    assert [str(item["summary"]) for item in own] == [letters[p.arm] for p in plan.periods]
    assert len({str(item["uid"]) for item in events}) == len(events)
    assert b"BEGIN:VCALENDAR\r\n" in text
    assert max(len(line) for line in text.split(b"\r\n")) <= 75
    asked = {
        "A": f"{plan.change} Did you today? Reply yes, no or forgot.",
        "B": "A usual day: as always? Reply yes, no or forgot.",
    }
    assert [str(item["description"]) for item in own] == [asked[str(i["summary"])] for i in own]
    for word in (b"glucose", b"sugar", b"mg/dl", b"mmol", b"higher", b"lower"):
        assert word not in text.lower()
    assert text == plan_calendar(plan, rules)


@pytest.mark.parametrize("start", [date(2028, 2, 24), date(2026, 3, 24), date(2026, 12, 28)])
def test_a_calendar_has_whole_days_whatever_the_clock_does(rules, start):
    # RFC 5545 section 3.6.1: DTEND of a DATE is the day after the last; no time, no zone. Over a
    # leap day, a change of the clock and a new year.
    from icalendar import Calendar

    plan = replace(made(rules), periods=planning.lay_out(SIZE, start, 0, 3, (), 999)[0])
    text = plan_calendar(plan, rules)
    starts = [line for line in text.split(b"\r\n") if line.startswith((b"DTSTART", b"DTEND"))]
    assert all(re.fullmatch(rb"DT(START|END);VALUE=DATE:\d{8}", line) for line in starts)
    assert b"TZID" not in text
    assert b"VTIMEZONE" not in text
    days = [
        item.decoded("dtstart") + timedelta(days=k)
        for item in Calendar.from_ical(text).walk("VEVENT") if str(item["summary"]) != "S"
        for k in range((item.decoded("dtend") - item.decoded("dtstart")).days)
    ]  # fmt: skip
    assert days == [start + timedelta(days=k) for k in range(6 * 2 * 3)]


@pytest.mark.parametrize("word", ["a;b,c\\d", "a\nEND:VEVENT\nBEGIN:VALARM", "\u202e\x00:\"'", ""])
def test_a_calendar_takes_no_orders_from_words(rules, monkeypatch, word):
    # RFC 5545 section 3.3.11: backslash, semicolon, comma and line feed are escaped in TEXT.
    from icalendar import Calendar

    monkeypatch.setattr("miner.words.plan.LETTERS", {"change": word, "usual": word})
    plan = replace(made(rules), plan=word, change=word)
    calendar = Calendar.from_ical(plan_calendar(plan, rules))
    events = calendar.walk("VEVENT")
    assert len(events) == len(plan.periods) + len(plan.sensor_changes)
    assert not calendar.walk("VALARM")
    said = {str(item["summary"]) for item in events} - {"S"}
    assert {text.replace("\x00", "") for text in said} <= {word.replace("\x00", "")}


def test_a_calendar_of_words_in_no_ascii_is_folded_between_letters(rules, monkeypatch):
    # RFC 5545 section 3.1: at most 75 octets a line without its break; CRLF and one space join.
    from icalendar import Calendar

    name, titles = "ž" * 70 + "日本語の計画" * 9, {"change": "Ä" * 90, "usual": "🙂" * 40}
    monkeypatch.setattr("miner.words.plan.LETTERS", titles)
    plan = replace(made(rules), plan=name)
    text = plan_calendar(plan, rules)
    lines = text.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert any(line.startswith(b" ") for line in lines)
    assert "".join(line.decode("utf-8") for line in lines)  # no letter is cut in two
    whole = text.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")
    first = plan.periods[0]
    assert f"SUMMARY:{titles[first.arm]}" in whole
    assert f"UID:{name}-1@plan.invalid" in whole
    events = [e for e in Calendar.from_ical(text).walk("VEVENT") if str(e["summary"]) != "S"]
    assert [str(e["summary"]) for e in events] == [titles[p.arm] for p in plan.periods]


def test_the_page_shows_every_day_and_no_number_of_the_client(rules):
    plan = replace(made(rules), stop_rules=(say(rules, "plan", "stop_worry"),))
    page = plan_page(plan, rules, "client-01")
    first, last = (
        date.fromisoformat(plan.periods[0].first),
        date.fromisoformat(plan.periods[-1].last),
    )
    days = 2 * plan.pairs * plan.period_days
    assert page.count('<li class="change">') + page.count('<li class="usual">') == days
    assert page.count('<span class="box">') == 2 * days
    assert f'<span class="date">{first:%a} {first.day} {first:%b}</span>' in page
    assert f'<span class="date">{last:%a} {last.day} {last:%b}</span>' in page
    assert f"<h1>{plan.change}</h1>" in page
    assert "client-01" in page
    assert rules.factor("late_dinner").try_ in page
    assert page.lower().count("glucose") == 1  # in what every client is reminded of
    assert "mg/dL" not in page
    assert "://" not in page.partition("<body")[2].partition("<script")[0]
    assert row_date(table_of(rules), 0) not in page


def test_a_day_between_two_pairs_is_called_free(rules):
    plan = made(rules, changes=[START + timedelta(days=7)])
    assert plan.periods[5].last < "2026-07-12" < plan.sensor_changes[0] < plan.periods[6].first
    page = plan_page(plan, rules, "client-01")
    last = max(day for _, day in days_of(plan))
    free = (last - START).days + 1 - 2 * plan.pairs * plan.period_days - len(plan.sensor_changes)
    assert page.count('<span class="what">Free</span>') == free > 0
    assert "On free days, live as usual and tick nothing." in page
    whole_weeks = replace(plan, periods=planning.lay_out(SIZE, START, 0, 3, (), 999)[0],
                          sensor_changes=())  # fmt: skip
    assert (
        "free"
        not in plan_page(whole_weeks, rules, "client-01")
        .partition("<body")[2]
        .partition("<script")[0]
    )


def test_no_difference_is_so_large_that_any_test_would_say_no(rules):
    # with a huge "difference worth having" every interval would lie inside it
    plan = made(rules, wish=Wish(START, 1e9))
    assert plan.worth_having == pytest.approx(plan.six_pairs_find)
    assert "already" in str(plan.notes[0])
    assert made(rules, wish=Wish(START, 1e9, pairs=6)).worth_having == plan.worth_having
    plan = made(rules, wish=Wish(START), smallest_worth_it=400.0)
    assert (plan.worth_having, tuple(map(str, plan.notes))) == (400.0, ())


@pytest.mark.parametrize(
    ("typed", "glucose_in", "worth"),
    [(12.0, "mg/dL", 12.0), (0.5, "mmol/L", 9.0078), (0.28, "mmol/L", 5.05)],
)
def test_a_difference_of_glucose_is_taken_in_the_unit_it_is_typed_in(typed, glucose_in, worth):
    """0.5 mmol/L are 9.0078 mg/dL; 5.05 mg/dL are shown as 0.28 mmol/L, which are 5.044."""
    wish = Wish(START, typed, glucose_in=glucose_in)
    assert planning._worth(wish, 5.05, "mg/dL") == pytest.approx(worth, abs=5e-4)


@pytest.mark.parametrize(
    ("typed", "glucose_in", "meant"), [(9.0, "mmol/L", "0.50"), (0.5, "mg/dL", "9.0")]
)
def test_a_difference_of_the_other_unit_is_asked_about(typed, glucose_in, meant):
    with in_unit(glucose_in):
        with pytest.raises(MinerError, match="far from any that is known") as raised:
            planning._worth(Wish(START, typed, glucose_in=glucose_in), 5.0, "mg/dL")
        assert f"--worth-having {meant}" in raised.value.do
    assert planning._worth(Wish(START, 90.0, glucose_in=glucose_in), 10.0, "min") == 90.0


def meal_table_of(days=60, seed=3):
    """Breakfasts and dinners of so many days: the habit on every third breakfast, on no dinner."""
    rng, frames = np.random.default_rng(seed), []
    day = long_table().frame.iloc[:days]
    for meal, walks, level in (("breakfast", [1.0, 0.0, 0.0], 20.0), ("dinner", [0.0], 60.0)):
        part = day.assign(meal=meal, rise=level + 10 * rng.normal(size=days))
        part["walk_after"] = np.resize(walks, days)
        frames.append(part.set_axis([f"{name} {meal}" for name in day.index]))
    frame = pd.concat(frames).sort_values(["day_number", "meal"])
    none = frame[[]]
    return replace(
        long_table(), unit="meal", frame=frame, measures=none, by_clock=none, context=none
    )


def walk(**more):
    return idea("walk_after", "rise", unit_of="meal", direction="down", **more)


def test_a_pair_of_meals_is_of_the_kind_that_holds_most_of_the_habit():
    table = meal_table_of()
    assert meal_of(table, walk(), None) == "breakfast"
    assert meal_of(table, walk(), "dinner") == "dinner"
    assert with_and_without(table, walk()) == (20, 100)
    own = of_meal(table, "breakfast")
    assert with_and_without(own, walk()) == (20, 40)
    assert of_meal(table, "") is table
    assert meal_of(long_table(), idea(), None) == ""
    with pytest.raises(MinerError, match="one of days"):
        meal_of(long_table(), idea(), "lunch")
    with pytest.raises(MinerError, match="Choose one of them"):
        meal_of(table, walk(), "snack")


def test_meal_pairs_are_tested_over_every_order_of_their_coins():
    table = of_meal(meal_table_of(), "dinner")
    pairs, first = 8, date.fromisoformat(table.frame["date"].iloc[0])
    for seed in range(3):
        own = periods(pairs, length=1, start=first, seed=seed)
        seen, _ = planning.read_pairs(
            table,
            own,
            outcome="rise",
            offset_days=0,
            shown=planning.Shown("walk_after", "with", 0),
            ticks={},
        )
        assert [(pair.change_units, pair.usual_units) for pair in seen] == [(1, 1)] * pairs
        rise = table.frame.set_index("date")["rise"]
        # naive: each order of the coins gives one mean difference; as large as the one seen, or not
        days = [[rise[one.first] for one in own if one.pair == n + 1] for n in range(pairs)]
        drawn = [next(one.arm for one in own if one.pair == n + 1) for n in range(pairs)]
        orders = [
            np.mean(
                [
                    (a - b) if arm == "change" else (b - a)
                    for (a, b), arm in zip(days, order, strict=True)
                ]
            )
            for order in product(("change", "usual"), repeat=pairs)
        ]
        real = np.mean(
            [
                (a - b) if arm == "change" else (b - a)
                for (a, b), arm in zip(days, drawn, strict=True)
            ]
        )
        found = planning.test_of(seen, 0)
        higher, lower = (
            np.mean(side)
            for side in (np.array(orders) >= real - 1e-9, np.array(orders) <= real + 1e-9)
        )
        assert found.difference == pytest.approx(real)
        assert found.p == pytest.approx(min(1, 2 * min(higher, lower)))
        assert (found.orders, found.exact) == (2**pairs, True)
