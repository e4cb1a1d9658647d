"""What sensors and logs do that is not the client's glucose: detected, told, handled as ruled."""

import numpy as np
import pandas as pd
import pytest

from miner.core.messages import MinerError
from miner.records import read_client
from miner.records.check.sensor import lows_of
from miner.records.synonyms import alike, key_of


def trace(folder, values, start="2026-03-02T00:00", every=5, name="glucose.csv"):
    times = pd.date_range(start, periods=len(values), freq=f"{every}min")
    rows = [f"{t:%Y-%m-%dT%H:%M},{v:g}" for t, v in zip(times, values, strict=True)]
    return folder.write(name, "\n".join(["time,glucose_mg_dl", *rows]) + "\n")


def night(folder, start="2026-03-01T23:00", end="2026-03-02T07:00"):
    return folder.write("sleep.csv", f"start,end\n{start},{end}\n")


def said(client, words):
    return [item for item in client.findings if words in item.what]


def dip(bottom, minutes, at=36, size=288, level=100):
    """A steady day with a sudden low of so many minutes, readings every 5 minutes."""
    values = np.full(size, float(level))
    values[at : at + minutes // 5 + 1] = bottom
    return values


# Domain rule: asleep; fall of 20 or more in 15 min, flat bottom, rise of 20 in 30, 15 to 120 min.
@pytest.mark.parametrize(
    ("values", "asked"),
    [
        (dip(65, 30), True),
        (dip(65, 15), True),
        (dip(65, 120), True),
        (dip(65, 10), False),
        (dip(65, 125), False),
        (dip(85, 30), False),
        (dip(75, 30, level=94), False),
        (dip(65, 30, at=150), False),
        (np.full(288, 100.0), False),
        (np.concatenate([np.linspace(100, 60, 40), np.linspace(60, 100, 248)]), False),
    ],
)
def test_a_low_that_looks_like_pressure_is_asked_about(folder, values, asked):
    night(folder)
    client = read_client(trace(folder, values).path)
    found = said(client, "may be pressure on the sensor")
    assert bool(found) == asked
    assert (client.streams["glucose"]["left_out"] == "").all()
    if asked:
        assert found[0].row == 38
        assert "[[pressure_lows]] start = 2026-03-02T03:00:00" in found[0].do


def test_a_low_under_54_is_taken_as_real_until_confirmed(folder):
    night(folder)
    client = read_client(trace(folder, dip(50, 30)).path)
    (found,) = said(client, "may be pressure on the sensor")
    assert "below 54 mg/dL, so take it as real and refer first" in found.what


def test_a_confirmed_low_is_left_out_and_what_is_under_54_is_told(folder):
    night(folder)
    folder.write(
        "client.toml",
        "[[pressure_lows]]\nstart = 2026-03-02T03:00:00\nend = 2026-03-02T03:30:00\n",
    )
    client = read_client(trace(folder, dip(50, 30)).path)
    left = client.streams["glucose"].query("left_out != ''")
    assert left["clock"].min() == pd.Timestamp("2026-03-02T02:45")
    assert left["clock"].max() == pd.Timestamp("2026-03-02T03:45")
    (low,) = said(client, "under 54 mg/dL during a confirmed low from pressure")
    assert (low.severity, low.count) == ("question", 7)
    assert not said(client, "may be pressure")


def test_without_sleep_the_night_is_midnight_to_six(folder):
    assert said(read_client(trace(folder, dip(65, 30)).path), "may be pressure")


def naive_lows(minutes, value):
    """Every pair of places that fits the rule, by trying them all."""
    found = []
    for first in range(len(value)):
        for last in range(first, len(value)):
            bottom = value[first : last + 1]
            length = minutes[last] - minutes[first]
            fell = any(
                value[k] - value[first] >= 20 and minutes[first] - minutes[k] <= 15
                for k in range(first)
            )
            rose = any(
                value[k] - value[last] >= 20 and minutes[k] - minutes[last] <= 30
                for k in range(last + 1, len(value))
            )
            flat = np.ptp(bottom) <= 15 and bottom.min() < 90
            if fell and rose and flat and 15 <= length <= 120:
                found.append((first, last))
    return found


@pytest.mark.parametrize("seed", range(40))
def test_no_low_is_found_that_the_rule_does_not_hold_for(seed):
    generator = np.random.default_rng(seed)
    minutes = np.arange(60) * 5.0
    value = 100 + generator.normal(0, 2, 60)
    for at in generator.integers(3, 50, 2):
        value[at : at + generator.integers(2, 12)] -= generator.uniform(15, 45)
    fitting = naive_lows(minutes, value)
    for low in lows_of(minutes, value):
        assert (low.first, low.last) in fitting
    if not fitting:
        assert not list(lows_of(minutes, value))


@pytest.mark.parametrize(
    ("jump", "every", "told"), [(26, 5, 1), (25, 5, 0), (76, 15, 1), (75, 15, 0), (6, 1, 1)]
)
def test_a_rate_no_body_shows_is_told_and_used(folder, jump, every, told):
    values = np.full(200, 100.0)
    values[100:] += jump
    client = read_client(trace(folder, values, every=every).path)
    found = said(client, "faster than a body can")
    assert len(found) == told
    assert len(client.used("glucose")) == 200
    if told:
        assert (found[0].row, found[0].count) == (102, 1)


def with_gap(folder, hours, step, before=600, after=600):
    trace(folder, np.full(before, 100.0))
    start = pd.Timestamp("2026-03-02") + pd.Timedelta(minutes=5 * (before - 1), hours=hours)
    return trace(folder, np.full(after, 100.0 + step), f"{start}", name="glucose-2.csv")


@pytest.mark.parametrize(
    ("hours", "step", "asked"), [(3, 30, 1), (3, -30, 1), (3, 20, 0), (1, 30, 0), (2.5, 25, 1)]
)
def test_a_gap_with_a_step_is_a_question_not_a_sensor(folder, hours, step, asked):
    client = read_client(with_gap(folder, hours, step).path)
    assert len(said(client, "glucose is at another level")) == asked
    assert client.streams["glucose"]["sensor"].unique().tolist() == [""]
    assert (client.streams["glucose"]["left_out"] == "").all()


def test_a_declared_change_is_not_asked_about(folder):
    folder.write("client.toml", "sensor_changes = [2026-03-04T03:00:00]\n")
    client = read_client(with_gap(folder, 3, 30).path)
    assert not said(client, "another level")
    assert said(client, "a sensor's first day")


def test_another_cadence_is_told(folder):
    trace(folder, np.full(288 * 4, 100.0))
    trace(folder, np.full(96 * 4, 100.0), "2026-03-06", 15, "glucose-2.csv")
    (found,) = said(read_client(folder.path), "not always equally far apart")
    assert "every 5 min on 4 days, every 15 min on 4 days" in found.what


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        ("wine", "wines", True),
        ("late coffee", "coffee late", True),
        ("late-coffee", "late coffee", True),
        ("café", "cafe", True),
        ("restaurant", "resturant", True),
        ("alcohol", "alchohol", True),
        ("glasses of wine", "glass of wine", True),
        ("coffee 1", "coffee 2", False),
        ("wine", "beer", False),
        ("wine", "no wine", False),
        ("run", "rum", False),
        ("late dinner", "late lunch", False),
        ("???", "!!!", False),
    ],
)
def test_words_that_may_be_one(one, two, same):
    assert alike(one, two, key_of(one), key_of(two)) == same
    assert alike(two, one, key_of(two), key_of(one)) == same


def test_spellings_are_proposed_and_joined_only_when_declared(folder):
    rows = "".join(f"2026-03-02T1{h}:00,{'Restaurant' if h else 'resturant'}\n" for h in range(6))
    folder.steady_glucose().write("tags.csv", "time,tag\n" + rows)
    client = read_client(folder.path)
    (found,) = said(client, "may be one")
    assert found.do == "If they are one, run: miner merge PRACTICE resturant --into restaurant"
    assert sorted(client.streams["tags"]["tag"].unique()) == ["restaurant", "resturant"]
    folder.write("client.toml", '[synonyms]\nresturant = "restaurant"\n')
    client = read_client(folder.path)
    assert client.streams["tags"]["tag"].unique().tolist() == ["restaurant"]
    assert not said(client, "may be one")


def test_of_two_spellings_as_common_neither_is_proposed(folder):
    rows = "2026-03-02T11:00,late coffee\n2026-03-02T12:00,late cofee\n"
    folder.steady_glucose().write("tags.csv", "time,tag\n" + rows)
    (found,) = said(read_client(folder.path), "may be one")
    assert "cofee" not in found.do
    assert "the wrong word into the right one" in found.do


def test_one_word_stands_in_the_end_and_a_circle_is_refused(folder):
    folder.steady_glucose().write("tags.csv", "time,tag\n2026-03-02T11:00,a\n")
    folder.write("client.toml", '[synonyms]\nA = "b"\nb = "c"\n')
    assert read_client(folder.path).streams["tags"]["tag"].tolist() == ["c"]
    assert read_client(folder.path).streams["tags"]["noted"].tolist() == ["a"]
    folder.write("client.toml", '[synonyms]\na = "b"\nb = "A"\n')
    with pytest.raises(MinerError, match="in a circle: a, b, a"):
        read_client(folder.path)


def lows_by_definition(minutes, value):
    """The definition of a low read off word by word, place by place."""
    found, done = [], -1
    for high in range(len(value)):
        fallen = [
            at
            for at in range(high + 1, len(value))
            if minutes[at] - minutes[high] <= 15 and value[at] <= value[high] - 20
        ]
        if high <= done or not fallen:
            continue
        for back in range(fallen[0], len(value) - 1):
            if minutes[back] > minutes[fallen[0]] + 150:
                break
            later = [
                value[at]
                for at in range(back + 1, len(value))
                if minutes[at] <= minutes[back] + 30
            ]  # fmt: skip
            if later and max(later) >= value[back] + 20 and value[back + 1] > value[back] + 5:
                bottom = value[fallen[0] : back + 1]
                length = minutes[back] - minutes[fallen[0]]
                if max(bottom) - min(bottom) <= 15 and min(bottom) < 90 and 15 <= length <= 120:
                    found.append((fallen[0], back, min(bottom)))
                    done = back
                break
    return found


@pytest.mark.parametrize("every", [(1, 1), (5, 5), (15, 15), (1, 6)])
@pytest.mark.parametrize("seed", range(4))
def test_lows_against_their_definition(every, seed):
    generator = np.random.default_rng([seed, *every])
    minutes = np.cumsum(generator.integers(every[0], every[1] + 1, 400)).astype(float)
    value = np.round(100 + generator.normal(0, 2, 400))
    for start in range(10, 380, 25):
        value[start : start + int(generator.integers(1, 24))] -= generator.integers(15, 50)
    value[:200] += generator.integers(-30, 30, 200) * (seed == 3)
    lows = [(low.first, low.last, low.lowest) for low in lows_of(minutes, value)]
    assert lows == lows_by_definition(minutes.tolist(), value.tolist())
    if seed < 3 and every != (15, 15):
        assert lows
