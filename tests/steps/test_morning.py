"""One day told from files, and a practice's morning: who is looked at first, nudged, stale."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from miner import ledger, steps
from miner.cli.group import miner as commands
from miner.core.messages import MinerError
from miner.core.results import PlanPeriod
from miner.steps.morning import client_morning, is_practice

FIRST = np.datetime64("2026-03-01T00:00")
DAYS = 12


def bump(minutes, at, height, half=45):
    """A triangle of that height, half an hour and a half wide."""
    return np.clip(1 - np.abs(minutes - at) / half, 0, None) * height


def _at(day, minutes):
    return FIRST + np.timedelta64(1440 * day + minutes, "m")


def write(folder: Path, glucose=None, meals=True, last_meal=DAYS, last_night=DAYS, **files):
    """Twelve days of readings, waking at 07:00, lunch at 12:30 with a rise to 160."""
    folder.mkdir(parents=True)
    minutes = np.arange(0, DAYS * 1440 + 9 * 60, 5.0)
    of_day = minutes % 1440
    values = 100 + bump(of_day, 795, 60) if glucose is None else glucose(minutes)
    lines = [
        f"{FIRST + np.timedelta64(int(m), 'm')},{v:.1f}"
        for m, v in zip(minutes, values, strict=True)
        if m % 1440 != 120 + 5 * (m // 1440)  # one reading less, or the days would be copies
    ]
    (folder / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *lines]) + "\n")
    nights = [f"{_at(k, -60)},{_at(k, 420)},420" for k in range(1, last_night + 1)]
    (folder / "sleep.csv").write_text("\n".join(["start,end,asleep_min", *nights]) + "\n")
    if meals:
        eaten = [
            f"{_at(k, at)},{label},{grams}"
            for k in range(last_meal)
            for at, label, grams in ((480, "breakfast", 5), (750, "lunch", 60))
        ]
        (folder / "meals.csv").write_text("\n".join(["time,label,carbs_g", *eaten]) + "\n")
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text)
    return folder


def test_a_day_in_words_and_numbers(tmp_path):
    tags = "time,tag\n2026-03-10T10:00,meeting\n2026-03-10T05:00,early\n"
    folder = write(tmp_path / "client-01", tags=tags)
    found = steps.day_review(steps.read_client(folder), "2026-03-10")
    assert (found.date, str(found.chosen), found.usable) == ("2026-03-10", "asked for", True)
    assert (found.start, found.end) == ("2026-03-10T07:00", "2026-03-11T07:00")
    assert str(found.night) == "Asleep 7.0 hours (23:00 to 07:00)"
    (rise,) = found.rises
    assert abs(rise.height - 55) <= 7  # the tip of the triangle is smoothed away
    assert rise.peak in ("2026-03-10T13:10", "2026-03-10T13:15", "2026-03-10T13:20")
    assert rise.meal == "2026-03-10T12:30"
    assert not rise.unlogged
    texts = [item.text for item in rise.before]
    assert texts == ["tag meeting", "lunch, 60 g carbohydrate"]
    assert (rise.before[0].file, rise.before[0].row) == ("tags.csv", 2)
    wake = next(item for item in found.numbers if item.name == "wake_glucose")
    # ten other days are too few to say what is usual
    assert (wake.value, wake.low, wake.inside, wake.days) == (100, None, None, 10)
    assert found.first == ()
    assert found.to_dict()["curve"][0] == [-480.0, 100.0]


def test_the_newest_whole_day_is_chosen_and_named(tmp_path):
    client = steps.read_client(write(tmp_path / "client-01"))
    found = steps.day_review(client)
    assert (found.date, str(found.chosen)) == ("2026-03-12", "the newest whole day")
    with pytest.raises(MinerError, match="a day from 2026-03-01 to 2026-03-13"):
        steps.day_review(client, "2026-04-01")


def test_an_unlogged_rise_and_a_day_without_entries_are_asked_about(tmp_path):
    client = steps.read_client(write(tmp_path / "client-01", last_meal=8))
    found = steps.day_review(client, "2026-03-11")
    assert [rise.unlogged for rise in found.rises] == [True]
    assert any(
        text.startswith("What was going on around 12:") for text in map(str, found.could_be_asked)
    )
    assert "What did you eat and drink that day? Nothing is noted." in tuple(
        map(str, found.could_be_asked)
    )


def low_at_three(minutes):
    """A flat low of 60 from 03:00 to 04:00 on the last night, besides the lunches."""
    values = 100 + bump(minutes % 1440, 795, 60)
    begin = 11 * 1440 + 180
    inside = (minutes >= begin) & (minutes < begin + 60)
    return np.where(inside, 60.0, values)


def very_high(minutes):
    return np.where(np.abs(minutes - (11 * 1440 + 900)) < 20, 215.0, 100.0)


def test_a_practice_on_one_screen(tmp_path):
    home = tmp_path / "practice"
    write(home / "client-01", low_at_three)
    write(home / "client-02", very_high)
    write(home / "client-03", last_meal=9)
    write(home / "client-04")
    write(home / "client-05", last_night=9)
    (home / "client-06").mkdir()
    assert is_practice(home)
    assert not is_practice(home / "client-01")
    found = steps.practice_morning(home, date(2026, 3, 13))
    codes = {
        name: [item.client for item in getattr(found, name)]
        for name in ("look_first", "nudge", "stale", "on_test", "ordinary")
    }
    assert codes == {
        "look_first": ["client-01", "client-02"], "nudge": ["client-03", "client-05"],
        "stale": [], "on_test": [], "ordinary": ["client-04"],
    }  # fmt: skip
    low, high = found.look_first
    assert any("may be pressure on the sensor" in text for text in map(str, low.look_first))
    assert any(
        text.startswith("Readings of 200 mg/dL or more on this day")
        for text in map(str, high.look_first)
    )
    log, tracker = found.nudge
    assert str(log.message).startswith("Hello. Your notes show nothing since Monday 9 March.")
    assert str(tracker.message).startswith(
        "Hello. Your tracker shows nothing since Tuesday 10 March."
    )
    assert [name for name, _ in found.unreadable] == ["client-06"]
    assert "is not live monitoring" in str(found.note)


FOOD_FEAR = (
    "Eating-disorder risk or food fear: refer, show no numbers or curves, and consider stopping "
    "the tracking."
)  # the words of rules/cautions.toml


def intake(folder: Path, *yes: str) -> Path:
    lines = [f'{name} = "yes"' for name in yes]
    (folder / "client.toml").write_text("\n".join(["[intake]", *lines]) + "\n")
    return folder


def test_food_fear_is_looked_at_first_and_nobody_asks_for_more_logging(tmp_path):
    home = tmp_path / "practice"
    intake(write(home / "client-01", last_meal=9), "eating_disorder")
    intake(write(home / "client-02", very_high), "eating_disorder")
    intake(write(home / "client-03", last_night=9), "insulin")
    found = steps.practice_morning(home, date(2026, 3, 13))
    quiet, high, insulin = found.look_first
    assert (quiet.client, tuple(map(str, quiet.look_first)), quiet.message) == (
        "client-01",
        (FOOD_FEAR,),
        "",
    )
    assert next(map(str, high.look_first)) == FOOD_FEAR
    assert list(map(str, high.look_first))[1] == "Refer first: 200 mg/dL or more on 1 day."
    assert list(map(str, high.look_first))[2].startswith("Readings of 200 mg/dL or more")
    # nobody has told the client on insulin yet; what went quiet is still asked about
    assert list(map(str, insulin.look_first)) == ["Refer first: yes to insulin."]
    assert insulin.nudge
    assert insulin.message
    text = " ".join(
        CliRunner().invoke(commands, ["day", str(home), "--on", "2026-03-13"]).stdout.split()
    )
    assert "Look first (3)" in text
    assert f"client-01 (looked at 2026-03-12): {FOOD_FEAR}" in text
    client = steps.read_client(home / "client-01")
    before = client_morning(
        client, steps.load_rules(None, home), date(2026, 2, 1)
    )  # no reading by then
    assert (before.day, tuple(map(str, before.look_first))) == (None, (FOOD_FEAR,))


def test_cautions_of_the_client_come_before_the_day(tmp_path):
    tags = "time,tag\n2026-03-04T10:00,metformin\n2026-03-05T10:00,pregnant\n"
    folder = write(tmp_path / "client-01", very_high, tags=tags)
    intake(folder, "insulin", "medicines", "eating_disorder")
    text = CliRunner().invoke(commands, ["day", str(folder), "2026-03-12"]).stdout
    lines = " ".join(text.split())
    high = "INSULIN. ! Glucose was 200 mg/dL or more on 1 day."
    assert lines.startswith(f"{high} {FOOD_FEAR} Pregnancy, possible or planned: refer.")
    said = [
        "The client noted a medicine ('metformin'", "The client noted a pregnancy ('pregnant'",
        "Doses are not in these records and may be behind any pattern.",
        "! Readings of 200 mg/dL or more on this day", "Asleep 7.0 hours",
    ]  # fmt: skip
    assert all(part in lines for part in said)
    assert (
        lines.index(said[-2])
        < lines.index("client-01, Thursday 12 March 2026")
        < lines.index(said[-1])
    )
    out = folder / "day.html"
    CliRunner().invoke(commands, ["day", str(folder), "2026-03-12", "--out", str(out)])
    assert FOOD_FEAR in out.read_text("utf-8")


def test_where_food_is_feared_nothing_is_asked_about_meals(tmp_path):
    folder = intake(write(tmp_path / "client-01", last_meal=8), "eating_disorder")
    asked = tuple(
        map(str, steps.day_review(steps.read_client(folder), "2026-03-11").could_be_asked)
    )
    assert not [text for text in asked if "eat" in text or "meal" in text]


def test_two_folders_of_one_code_are_told_apart(tmp_path):
    home = tmp_path / "practice"
    write(home / "client-01")
    shutil.copytree(home / "client-01", home / "copy")
    (home / "copy" / "client.toml").write_text('code = "client-01"\n')
    found = steps.practice_morning(home, date(2026, 3, 13))
    assert [item.client for item in found.ordinary] == [
        "client-01 in client-01",
        "client-01 in copy",
    ]
    later = steps.practice_morning(home, date(2026, 4, 20))
    assert [code for code, _ in later.not_active] == ["client-01 in client-01", "client-01 in copy"]


def test_a_morning_of_one_client_is_refused_and_not_passed_over(tmp_path):
    folder = write(tmp_path / "client-01")
    shown = CliRunner().invoke(commands, ["day", str(folder), "--on", "2026-03-10"])
    assert (shown.exit_code, shown.stdout) == (2, "")
    assert "miner day CLIENT 2026-03-10" in " ".join(shown.stderr.split())


def test_a_day_on_which_the_readings_end_tells_its_last_one(tmp_path):
    folder = write(tmp_path / "client-01")  # readings go on to 2026-03-13T08:55
    client = steps.read_client(folder)
    assert steps.day_review(client, "2026-03-12").last_reading == ""
    assert steps.day_review(client, "2026-03-13").last_reading == "2026-03-13T08:55"
    text = CliRunner().invoke(commands, ["day", str(folder), "2026-03-13"]).stdout
    assert "The last reading is at 08:55." in " ".join(text.split())


def test_stale_then_in_no_active_phase(tmp_path):
    home = tmp_path / "practice"
    write(home / "client-01")
    late = steps.practice_morning(home, date(2026, 3, 20))
    assert [str(item.stale) for item in late.stale] == ["the newest reading is of Friday 13 March"]
    later = steps.practice_morning(home, date(2026, 4, 20))
    assert later.not_active == (("client-01", "2026-03-13"),)
    assert not later.stale


def test_a_morning_in_the_past_sees_nothing_later(tmp_path):
    home = tmp_path / "practice"
    write(home / "client-01", last_meal=9)
    found = steps.practice_morning(home, date(2026, 3, 9))
    assert [item.day for item in found.ordinary] == ["2026-03-08"]
    assert found.ordinary[0].newest == "2026-03-09"


def keep_in(folder, id_, as_):
    what = {
        "unit_of": "day", "direction": "up", "definitions": {},
        "id": id_, "as": as_, "factors": ["short_sleep"], "lag_days": [0],
        "outcome": "wake_glucose", "suggested_by_days_to": "2026-03-05",
        "read_on": "2026-03-30", "smallest_worth_it": 5,
    }  # fmt: skip
    return ledger.append(folder, "kept", what, datetime(2026, 3, 6, 8, tzinfo=UTC)).n


def test_what_is_kept_shows_the_day_counted_and_never_agrees(tmp_path):
    folder = write(tmp_path / "practice" / "client-01")
    client = steps.read_client(folder)
    keep_in(folder, "abcd1234", "watch")
    found = steps.day_review(client, "2026-03-10")
    said = [str(item.sentence) for item in found.on_test]
    assert said == ["short_sleep with wake_glucose: day counted."]
    assert steps.day_review(client, "2026-03-05").on_test == ()
    morning = steps.practice_morning(folder.parent, date(2026, 3, 13))
    assert [item.client for item in morning.on_test] == ["client-01"]
    assert "agree" not in str(found.to_dict())


def test_a_day_on_test_tells_its_arm_and_a_missing_tick(tmp_path):
    folder = write(
        tmp_path / "practice" / "client-01", ticks="date,plan,ticked\n2026-03-12,p1,yes\n"
    )
    entry = keep_in(folder, "abcd1234", "alternate")
    assert steps.day_review(steps.read_client(folder), "2026-03-09").on_test == ()
    periods = [
        PlanPeriod(1, 1, "2026-03-08", "2026-03-10", "usual", 0).to_dict(),
        PlanPeriod(2, 1, "2026-03-11", "2026-03-13", "change", 1).to_dict(),
    ]
    plan = {
        "kept_entry": entry, "id": "abcd1234", "plan": "p1", "periods": periods, "pairs": 1,
        "factor": "short_sleep", "outcome": "wake_glucose", "unit": "mg/dL", "change": "x",
        "offset_days": 0, "seed": 1, "worth_having": 5.0, "read_on": "2026-03-14",
    }  # fmt: skip
    ledger.append(folder, "planned", plan, datetime(2026, 3, 7, 8, tzinfo=UTC))
    client = steps.read_client(folder)
    told = {}
    for day in ("2026-03-07", "2026-03-09", "2026-03-11", "2026-03-12"):
        told[day] = [str(item.sentence) for item in steps.day_review(client, day).on_test]
    what = "short_sleep with wake_glucose"
    assert told == {
        "2026-03-07": [],
        "2026-03-09": [f"{what}: day counted, as usual, tick missing."],
        "2026-03-11": [
            f"{what}: day not counted (the first day of a period is left out), the change, "
            "tick missing."
        ],
        "2026-03-12": [f"{what}: day counted, the change, ticked yes."],
    }


def test_a_practice_is_known_by_the_exports_in_its_folders_under_whatever_names(tmp_path):
    home = tmp_path / "practice"
    one = home / "ann"
    one.mkdir(parents=True)
    (home / "sources.toml").write_text("", encoding="utf-8")
    assert not is_practice(home)  # nothing lies in its folders
    (one / "export.csv").write_text("a\n", encoding="utf-8")
    assert is_practice(home)
    assert not is_practice(one)
    (home / "other.json").write_text("{}", encoding="utf-8")
    assert not is_practice(home)  # records of its own
    (home / "practice.toml").write_text("", encoding="utf-8")
    assert is_practice(home)
    assert not is_practice(home / "nowhere")
