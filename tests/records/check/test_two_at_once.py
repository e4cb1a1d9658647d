"""Two traces of glucose at one time: asked about by name, and neither preferred in silence."""

import numpy as np
import pandas as pd
import pytest

from miner.core.results import Severity
from miner.records import read_client
from miner.records.columns import CONTRADICTED


def write(folder, name, level, start="2026-03-02", days=3.0, every=5, sensor="", swing=20.0):
    times = pd.date_range(start, periods=int(days * 1440 / every), freq=f"{every}min")
    hours = (times - pd.Timestamp("2026-03-02")) / pd.Timedelta(hours=1)
    values = level + swing * np.sin(hours / 3)
    head = "time,glucose_mg_dl" + (",sensor" if sensor else "")
    rows = [
        f"{t:%Y-%m-%dT%H:%M:%S},{v:.0f}" + (f",{sensor}" if sensor else "")
        for t, v in zip(times, values, strict=True)
    ]
    folder.write(name, "\n".join([head, *rows]) + "\n")


def asked(client):
    return [item for item in client.findings if "so these may be two people" in item.what]


@pytest.mark.parametrize("start", ["2026-03-02", "2026-03-02T00:00:30", "2026-03-02T00:02"])
@pytest.mark.parametrize("sensors", [("", ""), ("A", "B"), ("A", "")])
def test_two_people_in_one_folder_are_asked_about_by_both_names(folder, start, sensors):
    write(folder, "glucose-anna.csv", 100, sensor=sensors[0])
    write(folder, "glucose-ben.csv", 135, start=start, sensor=sensors[1])
    client = read_client(folder.path)
    (question,) = asked(client)
    assert question.severity == Severity.QUESTION
    assert "'glucose-anna.csv'" in question.what
    assert "'glucose-ben.csv'" in question.what
    assert question.count == 2 * 3 * 288
    assert (question.file, question.row) == ("glucose-anna.csv", 2)
    assert not [item for item in client.findings if "found twice" in item.what]
    assert client.used("glucose").empty
    assert set(client.streams["glucose"]["left_out"]) == {CONTRADICTED}


def test_only_the_time_in_which_both_go_on_is_left_out(folder):
    write(folder, "glucose-1.csv", 100)
    write(folder, "glucose-2.csv", 160, start="2026-03-04", days=3)
    client = read_client(folder.path)
    (question,) = asked(client)
    used = client.used("glucose")
    assert used["clock"].max() == pd.Timestamp("2026-03-06T23:55")
    doubtful = client.streams["glucose"].query("left_out != ''")["clock"]
    assert doubtful.min() == pd.Timestamp("2026-03-03T23:40")
    assert doubtful.max() == pd.Timestamp("2026-03-05T00:15")
    assert question.count == len(doubtful) == 2 * 288 + 4 + 4


def test_one_person_whose_files_overlap_is_not_asked_about(folder):
    write(folder, "glucose-1.csv", 100)
    write(folder, "glucose-2.csv", 100, start="2026-03-03", every=15)
    write(folder, "glucose-3.csv", 100, start="2026-03-03T00:02")
    assert not asked(read_client(folder.path))


def test_an_old_sensor_beside_a_new_one_for_a_day_is_no_second_person(folder):
    write(folder, "glucose-1.csv", 100, sensor="A")
    write(folder, "glucose-2.csv", 130, start="2026-03-04T00:00", sensor="B")
    assert not asked(read_client(folder.path))
    write(folder, "glucose-2.csv", 130, start="2026-03-03T23:00", sensor="B")
    assert asked(read_client(folder.path))


def test_two_sensors_in_one_file_all_along_are_asked_about(folder):
    write(folder, "glucose.csv", 100, sensor="A")
    one = (folder.path / "glucose.csv").read_text()
    write(folder, "glucose.csv", 140, sensor="B")
    two = (folder.path / "glucose.csv").read_text().split("\n", 1)[1]
    folder.write("glucose.csv", one + two)
    (question,) = asked(read_client(folder.path))
    assert "'glucose.csv' (sensor A) and 'glucose.csv' (sensor B)" in question.what


def naive(one, two):
    """How many readings of one trace are apart from the other, reading by reading."""
    apart = compared = 0
    for at, value in one:
        around = [(other - at, level) for other, level in two if abs(other - at) <= 20]
        before = [each for each in around if each[0] < 0]
        after = [each for each in around if each[0] >= 0]
        if not after or not (before or after[0][0] == 0):
            continue
        right = min(after)
        if right[0] == 0:
            level = right[1]
        else:
            left = max(before)
            level = left[1] + (right[1] - left[1]) * -left[0] / (right[0] - left[0])
        compared += 1
        apart += abs(value - level) > 15 and abs(value - level) > 0.15 * min(value, level)
    return apart, compared


@pytest.mark.parametrize("seed", range(30))
def test_the_question_follows_the_rule_reading_by_reading(folder, seed):
    generator = np.random.default_rng(seed)
    traces = []
    for number in (1, 2):
        minutes = np.sort(generator.choice(600, 40, replace=False))
        levels = 100 + 8 * number + generator.integers(-9, 9, 40)
        traces.append(list(zip(minutes.tolist(), levels.tolist(), strict=True)))
        rows = [
            f"{pd.Timestamp('2026-03-02') + pd.Timedelta(minutes=int(at)):%Y-%m-%dT%H:%M},{level}"
            for at, level in traces[-1]
        ]
        folder.write(f"glucose-{number}.csv", "\n".join(["time,glucose_mg_dl", *rows]) + "\n")
    counts = np.array([naive(*traces), naive(*traces[::-1])]).sum(axis=0)
    expected = counts[0] >= 6 and counts[0] > 0.1 * counts[1]
    assert bool(asked(read_client(folder.path))) == expected


def test_a_file_that_stands_in_the_gap_of_another_is_not_compared(folder):
    write(folder, "glucose-1.csv", 100, days=1)
    one = (folder.path / "glucose-1.csv").read_text()
    write(folder, "glucose-1.csv", 100, start="2026-03-05", days=1)
    folder.write("glucose-1.csv", one + (folder.path / "glucose-1.csv").read_text()[19:])
    write(folder, "glucose-2.csv", 180, start="2026-03-03T12:00", days=1)
    client = read_client(folder.path)
    assert not asked(client)
    assert len(client.used("glucose")) == 3 * 288
