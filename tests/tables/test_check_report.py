"""The check, and what has to be shown first."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from miner.records.client import LeftOutDay
from miner.tables import cautions, check, tabulate

DAYS = 10


def ready(make, rules, glucose, **given):
    client = make(glucose, **given)
    return client, tabulate(client, rules, "day")


@pytest.fixture(scope="session")
def flat(sensed):
    return sensed("2026-03-01", np.full(DAYS * 288, 100.0))


def texts_of(make, rules, glucose, **given):
    client, table = ready(make, rules, glucose, **given)
    said, not_asked = cautions(client, table, rules)
    return tuple(item.text for item in said if item.kind != "not_asked"), not_asked


def standing(rules):
    return tuple(
        text.replace("{days}", f"{DAYS} days")
        for text in (*rules.cautions.always, *rules.cautions.with_patterns)
    )


def changed(flat, *changes, censored=0):
    frame = flat.copy()
    for start, end, value in changes:
        inside = (frame["clock"] >= start) & (frame["clock"] < end)
        frame.loc[inside, "glucose"] = value
        if np.isnan(value):
            frame.loc[inside, "censored"] = np.int8(censored)
    return frame


def test_streams_days_and_factors_are_counted(make, sensed, slept, rules, flat):
    glucose = flat[~flat["clock"].between("2026-03-04 10:00", "2026-03-05 04:00")]
    glucose = glucose.reset_index(drop=True)
    client, table = ready(
        make, rules, glucose, sleep=slept("2026-03-01", DAYS),
        meals=[{"time": "2026-03-02 19:00", "label": "dinner"}],
        left_out=(LeftOutDay(date(2026, 3, 7), "feast", None),),
    )  # fmt: skip
    report = check(client, table, rules)
    assert (report.client, report.records_hash) == ("client-01", "hash")
    assert (report.first_day, report.last_day, report.days) == ("2026-03-01", "2026-03-10", 10)
    assert report.usable_days == 8
    assert set(report.not_usable) == {"2026-03-04", "2026-03-07"}
    assert str(report.not_usable["2026-03-07"]) == "it is left out in client.toml (feast)"
    stream = report.streams["glucose"]
    assert (stream.rows, stream.used, stream.days) == (len(glucose), len(glucose), 10)
    assert (stream.cadence_min, stream.files) == (5, ("glucose.csv",))
    # Last reading 09:55 on the 4th, next at 04:05 on the 5th: 18 h 10 min.
    assert stream.longest_gap_h == pytest.approx(18.17)
    assert (stream.first, stream.last) == ("2026-03-01T00:00", "2026-03-10T23:55")
    assert report.streams["stress"].rows == 0
    assert report.streams["stress"].first is None
    assert report.known_factors["short_sleep"] == 8
    assert report.known_factors["late_dinner"] == 1
    assert report.known_factors["much_stress"] == 0


def whats(make, rules, glucose, **given):
    client, table = ready(make, rules, glucose, **given)
    return " | ".join(item.what for item in check(client, table, rules).findings)


def test_naps_missing_nights_and_time_in_bed_are_told(make, slept, rules, flat):
    rows = slept("2026-03-01", DAYS)
    del rows[3]
    rows.append({"start": "2026-03-03 12:00", "end": "2026-03-03 13:00", "kind": "nap"})
    told = whats(make, rules, flat, sleep=rows)
    assert "1 nap not counted" in told
    assert "1 night without a main sleep, by the day of waking: 2026-03-04" in told
    assert "9 nights without time asleep, for which time in bed is used" in told
    clean = whats(make, rules, flat, sleep=slept("2026-03-01", DAYS, asleep_min=400))
    assert clean == ""


def test_no_sleep_too_few_readings_and_a_tracker_off_are_told(make, slept, rules, flat):
    assert "A day is from 04:00 to 04:00" in whats(make, rules, flat)
    short = flat[flat["clock"] < "2026-03-10 12:00"]
    told = whats(make, rules, short, sleep=slept("2026-03-01", DAYS, asleep_min=400))
    assert "1 day with too few readings: 2026-03-10" in told
    rows = slept("2026-03-01", DAYS, asleep_min=400)
    del rows[5]
    walk = [{"start": "2026-03-02 10:00", "end": "2026-03-02 11:00", "kind": "walk"}]
    told = whats(make, rules, flat, sleep=rows, activity=walk)
    assert "the tracker was not worn" in told
    assert "2026-03-05" in told


def test_a_tracker_that_was_worn_and_tells_no_stress_is_not_to_be_worn(make, slept, rules, flat):
    """Steps of every quarter of an hour of the waking day, and stress measured for two hours."""
    days = [f"2026-03-{day:02d}" for day in range(1, DAYS + 1)]
    blocks = [
        {
            "start": f"{day} {hour:02d}:{minute:02d}",
            "kind": "steps",
            "steps": 90,
            "end": f"{day} {hour + (minute == 45):02d}:{(minute + 15) % 60:02d}",
        }
        for day in days
        for hour in range(7, 23)
        for minute in (0, 15, 30, 45)
    ]
    worn = {
        "activity": [(f"{day} 07:00", f"{day} 23:00") for day in days],
        "stress": [(f"{day} 10:00", f"{day} 12:00") for day in days],
    }
    stress = [{"start": f"{days[0]} 10:00", "end": f"{days[0]} 11:00", "level": 3}]
    sleep = slept("2026-03-01", DAYS, asleep_min=400)
    client, table = ready(make, rules, flat, sleep=sleep, activity=blocks, stress=stress, worn=worn)
    found = {item.code: item for item in check(client, table, rules).findings}
    assert "tracker_not_worn" not in found
    told = found["habit_not_measured"]
    assert "'much stress'" in told.short
    assert "movement" not in told.short
    assert "measures stress all day" in told.do
    assert told.gain_days == len(told.days) >= DAYS - 1


def test_what_is_always_said_is_always_said(make, rules, flat):
    texts, _ = texts_of(make, rules, flat)
    assert texts == standing(rules)


def test_intake_answers(make, rules, flat):
    intake = {"insulin": "yes", "medicines": "no", "pregnancy": "not_asked"}
    texts, not_asked = texts_of(make, rules, flat, intake=intake)
    assert texts[0] == rules.cautions.intake["insulin"].when_yes
    assert rules.cautions.intake["medicines"].when_yes not in texts
    assert "pregnancy, possible or planned" in not_asked
    assert "sleep apnoea" in not_asked
    assert "insulin" not in not_asked
    assert "medicines" not in not_asked


def test_wake_readings_of_126_on_two_days_refer(make, slept, rules, flat):
    sleep = slept("2026-03-01", DAYS)
    one = ("2026-03-03 06:00", "2026-03-03 07:00")
    two = ("2026-03-06 06:00", "2026-03-06 07:00")
    told = [
        any("Wake readings of 126" in text for text in texts_of(make, rules, g, sleep=sleep)[0])
        for g in (
            changed(flat, (*one, 126.0), (*two, 126.0)),
            changed(flat, (*one, 126.0)),
            changed(flat, (*one, 126.0), (*two, 125.9)),
        )
    ]
    assert told == [True, False, False]


@pytest.mark.parametrize(
    ("value", "censored", "minutes", "days", "words"),
    [
        (200.0, 0, 5, 1, "Readings of 200 mg/dL or more on 1 day."),
        (np.nan, 1, 5, 1, "Readings of 200 mg/dL or more on 1 day."),
        (199.0, 0, 5, 1, None),
        (53.9, 0, 15, 1, "Readings below 54 mg/dL for 15 minutes or longer on 1 day."),
        (np.nan, -1, 15, 1, "Readings below 54 mg/dL for 15 minutes or longer on 1 day."),
        (53.9, 0, 10, 1, None),
        (54.0, 0, 15, 1, None),
        (69.0, 0, 5, 2, None),
        (69.0, 0, 5, 3, "Readings below 70 mg/dL on 3 days"),
        (70.0, 0, 5, 3, None),
    ],
)
def test_readings_that_refer(make, rules, flat, value, censored, minutes, days, words):
    spans = [
        (f"2026-03-0{k} 12:00", f"2026-03-0{k} 12:{minutes:02d}", value) for k in range(2, 2 + days)
    ]
    texts, _ = texts_of(make, rules, changed(flat, *spans, censored=censored))
    first = [text for text in texts if text not in standing(rules)]
    assert [text.startswith(words) for text in first] == ([True] if words else [])


def test_readings_left_out_do_not_refer(make, rules, flat):
    frame = changed(flat, ("2026-03-02 03:00", "2026-03-02 04:00", 45.0))
    frame["left_out"] = np.where(frame["glucose"] < 50, "pressure_low", "")
    assert texts_of(make, rules, frame)[0] == standing(rules)


def test_a_medicine_tag_splits_the_period(make, rules, flat):
    tags = [
        {"start": "2026-03-04 08:00", "tag": "metformin"},
        {"start": "2026-03-05", "tag": "walked"},
    ]
    first = texts_of(make, rules, flat, tags=tags)[0][0]
    assert "The client noted a medicine ('metformin' on 2026-03-04)" in first


def test_pregnancy_and_illness_tags_are_told(make, rules, flat):
    tags = [{"start": "2026-03-04 08:00", "tag": "pregnant"}, {"start": "2026-03-05", "tag": "flu"}]
    texts, _ = texts_of(make, rules, flat, tags=tags)
    assert rules.cautions.intake["pregnancy"].when_yes in texts
    assert any("The client noted an illness ('flu' on 2026-03-05)" in text for text in texts)


def test_every_caution_has_its_kind(make, rules, flat):
    tags = [
        {"start": "2026-03-04 08:00", "tag": "metformin"},
        {"start": "2026-03-05", "tag": "flu"},
    ]
    glucose = changed(flat, ("2026-03-02 12:00", "2026-03-02 12:05", 200.0))
    intake = {"insulin": "yes"}
    client, table = ready(make, rules, glucose, tags=tags, intake=intake)
    said, not_asked = cautions(client, table, rules)
    kinds = [str(item.kind) for item in said]
    assert kinds[:5] == ["intake", "referral", "medicine", "illness", "not_asked"]
    assert kinds[5:] == ["always"] * len(rules.cautions.always) + ["patterns"] * len(
        rules.cautions.with_patterns
    )
    assert all(name in said[4].text for name in not_asked)


# The ADA Standards of Care print 126 and 200 mg/dL as 7.0 and 11.1 mmol/L; Battelino et al. 2019,
# Diabetes Care 42:1593, 54 and 70 mg/dL as 3.0 and 3.9 mmol/L.
def test_limits_are_told_in_the_display_unit(make, slept, rules, flat):
    spans = [(f"2026-03-0{k} 06:00", f"2026-03-0{k} 07:00", 210.0) for k in (2, 3)]
    lows = [(f"2026-03-0{k} 12:00", f"2026-03-0{k} 12:15", 50.0) for k in (2, 3, 4)]
    glucose = changed(flat, *spans, *lows)
    given = {"sleep": slept("2026-03-01", DAYS)}
    texts, _ = texts_of(make, rules, glucose, display_unit="mmol/L", **given)
    told = " ".join(texts)
    assert "mg/dL" not in told
    assert "Wake readings of 7.0 mmol/L or more on 2 days." in told
    assert "Readings of 11.1 mmol/L or more on 2 days." in told
    assert "Readings below 3.0 mmol/L for 15 minutes or longer on 3 days." in told
    assert "Readings below 3.9 mmol/L on 3 days." in told


def test_records_too_short_for_a_day_are_no_fault(make, sensed, rules):
    client, table = ready(make, rules, sensed("2026-03-01", np.array([96.0, 97.0])))
    report = check(client, table, rules)
    assert (report.days, report.usable_days) == (len(table.frame), 0)
    assert report.streams["glucose"].rows == 2


def test_tags_that_are_not_asked_about_are_told_with_their_days(make, rules, flat):
    tags = [
        {"start": f"2026-03-{2 + day:02d} 12:00", "tag": f"habit {number:02d}"}
        for number in range(23)
        for day in range(3 + (number < 20))
    ]
    tags += [{"start": f"2026-03-0{2 + day} 13:00", "tag": "sauna"} for day in range(2)]
    client = make(flat, tags=tags)
    table = tabulate(client, rules, "day")
    found = check(client, table, rules).findings
    beyond, rare = [item for item in found if "not checked as habits" in item.what]
    assert beyond.what.endswith("Days of each: 'habit 20' (3), 'habit 21' (3), 'habit 22' (3)")
    assert (beyond.count, beyond.severity) == (3, "note")
    assert "1 tag on fewer than 3 days" in rare.what
    assert rare.what.endswith("'sauna' (2)")
    assert sum(name.startswith("tag:") for name in table.factors) == 20
