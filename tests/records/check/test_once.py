"""What stands twice counts once; what contradicts is never chosen silently."""

import numpy as np
import pytest

from miner.core.results import Severity
from miner.records import read_client


def told(client, words):
    return [item for item in client.findings if words in item.what]


def test_files_that_overlap_count_once_in_any_number(folder):
    folder.steady_glucose(hours=48)
    lines = (folder.path / "glucose.csv").read_text().splitlines()
    for number, part in enumerate((lines[1:300], lines[200:577], lines[150:420])):
        folder.write(f"glucose-{number}.csv", "\n".join([lines[0], *part]))
    client = read_client(folder.path)
    assert len(client.used("glucose")) == 576
    assert sum(item.count for item in told(client, "found twice")) == 299 + 377 + 270


def test_the_same_reading_in_two_units_is_one(folder):
    values = [5.4, 5.6, 7.2, 9.9, 12.3]
    folder.glucose(
        *(f"2026-03-02T08:{5 * at:02d},{round(value * 18.0156)}" for at, value in enumerate(values))
    )
    folder.write(
        "glucose-2.csv",
        "time,glucose_mmol_l\n"
        + "\n".join(f"2026-03-02T08:{5 * at:02d}:30,{value}" for at, value in enumerate(values)),
    )
    client = read_client(folder.path)
    assert len(client.streams["glucose"]) == 5
    assert sum(item.count for item in told(client, "found twice")) == 5


def test_readings_every_minute_with_equal_values_are_all_kept(folder):
    folder.glucose(*(f"2026-03-02T08:{minute:02d},100" for minute in range(60)))
    assert len(read_client(folder.path).used("glucose")) == 60


def test_two_values_in_one_minute_are_both_left_out_and_asked_about(folder):
    folder.glucose(
        "2026-03-02T08:00,100",
        "2026-03-02T08:05,104",
        "2026-03-02T08:05,140",
        "2026-03-02T08:10,102",
    )
    client = read_client(folder.path)
    assert client.used("glucose")["glucose"].tolist() == [100, 102]
    (question,) = told(client, "with a second value for the same minute")
    assert question.severity == Severity.QUESTION
    assert (question.count, question.row) == (2, 3)


def test_two_sensors_that_are_told_apart_are_both_kept(folder):
    folder.glucose(
        *(f"2026-03-02T08:{m:02d},{100 + 30 * s},S{s}" for m in range(0, 60, 5) for s in (0, 1)),
        header="time,glucose_mg_dl,sensor",
    )
    client = read_client(folder.path)
    assert not told(client, "same minute")
    assert len(client.streams["glucose"]) == 24


def sleep(folder, *rows):
    folder.steady_glucose(hours=96)
    folder.write("sleep.csv", "\n".join(["start,end,asleep_min", *rows]) + "\n")
    return read_client(folder.path)


def test_a_night_written_again_keeps_the_later_row(folder):
    client = sleep(
        folder, "2026-03-02T23:00,2026-03-03T06:00,390", "2026-03-02T23:05,2026-03-03T06:10,380"
    )
    assert client.used("sleep")["row"].tolist() == [3]
    assert told(client, "of a night that was recorded again")[0].count == 1


def test_two_differing_records_of_a_night_are_both_left_out(folder):
    client = sleep(
        folder,
        "2026-03-02T23:00,2026-03-03T06:00,390",
        "2026-03-03T01:00,2026-03-03T06:00,280",
        "2026-03-03T23:00,2026-03-04T06:00,400",
    )
    assert client.used("sleep")["row"].tolist() == [4]
    (question,) = told(client, " a different one")
    assert question.severity == Severity.QUESTION
    assert "where" in question.do


def test_equal_blocks_of_different_rows_are_not_one(folder):
    folder.steady_glucose()
    folder.write(
        "activity.csv",
        "start,end,kind,steps,source\n"
        "2026-03-02T08:00,2026-03-02T08:15,walking,40,left\n"
        "2026-03-02T08:00,2026-03-02T08:15,walking,40,right\n"
        "2026-03-02T08:00,2026-03-02T08:15,walking,40,right\n",
    )
    client = read_client(folder.path)
    assert client.streams["activity"]["steps"].tolist() == [40, 40]
    folder.write("activity-copy.csv", (folder.path / "activity.csv").read_bytes())
    assert read_client(folder.path).streams["activity"]["steps"].tolist() == [40, 40]


def test_row_order_of_the_file_does_not_matter(folder):
    folder.steady_glucose(hours=48)
    lines = (folder.path / "glucose.csv").read_text().splitlines()
    one = read_client(folder.path).streams["glucose"]
    order = np.random.default_rng(1).permutation(np.arange(1, len(lines)))
    folder.write("glucose.csv", "\n".join([lines[0], *(lines[at] for at in order)]))
    two = read_client(folder.path).streams["glucose"]
    assert one.drop(columns="row").equals(two.drop(columns="row"))


@pytest.mark.parametrize("name", ["client.toml", "glucose.csv", "sources.toml"])
def test_hashes_follow_what_they_cover(folder, name):
    folder.steady_glucose().write("client.toml", 'code = "A"\n')
    one = read_client(folder.path)
    again = read_client(folder.path)
    assert (one.records_hash, one.settings_hash) == (again.records_hash, again.settings_hash)
    assert len(one.records_hash) == 16
    if name == "client.toml":
        folder.write(name, 'code = "B"\n')
    elif name == "glucose.csv":
        folder.write(name, (folder.path / name).read_text().replace("100", "110"))
    else:
        folder.write(name, "# nothing is mapped\n")
    two = read_client(folder.path)
    assert (two.records_hash != one.records_hash) == (name != "client.toml")
    assert (two.settings_hash != one.settings_hash) == (name == "client.toml")
