"""What map asks and offers: every answer that is offered can be given, and is saved."""

import pytest

from miner.core.messages import MinerError
from miner.records import read_client
from miner.steps.mapping import map_file

TIMES = [f"2026-03-02T{hour:02d}:{minute:02d}" for hour in range(24) for minute in range(0, 60, 5)]


def two_people(folder) -> None:
    rows = "".join(
        f"{('Anna', 'ANNA ')[k % 2]},{at},{100 + k % 9}\nBen,{at},150\n"
        for k, at in enumerate(TIMES)
    )
    folder.write("sensor.csv", f"Patient ID,time,glucose mg/dL\n{rows}")


def test_whose_records_is_asked_and_each_answer_works(folder):
    two_people(folder)
    path = folder.path / "sensor.csv"
    ((key, asked),) = map_file(path).asked()[0]
    assert (key, asked.needed) == ("where.Patient ID", True)
    assert {each.value: each.facts["rows"] for each in asked.options} == {
        "Anna": len(TIMES),
        "Ben": len(TIMES),
    }
    with pytest.raises(MinerError, match=r'--set "where\.Patient ID=Anna"'):
        map_file(path, write=True)
    map_file(path, answers={key: "Ben"}, write=True)
    assert read_client(folder.path).used("glucose")["glucose"].unique().tolist() == [150]
    map_file(path, answers={key: "Anna"}, write=True)
    anna = read_client(folder.path).used("glucose")
    assert (len(anna), anna["glucose"].max()) == (len(TIMES), 108)


@pytest.fixture
def sheet(folder):
    """Glucose and meals in one sheet, with two times that neither stream names."""
    rows = [f"{at},{100 + k % 9},," for k, at in enumerate(TIMES)]
    rows[:2] = [f"{TIMES[0]},100,2026-03-02T12:00,soup", f"{TIMES[1]},101,2026-03-02T18:00,rice"]
    body = "\n".join(["measured,glucose mg/dL,ate at,food", *rows])
    return folder.write("sheet.csv", f"{body}\n")


def test_of_two_streams_each_question_names_its_stream(sheet):
    path = sheet.path / "sheet.csv"
    keys = [key for each in map_file(path).asked() for key, _ in each]
    assert keys == ["glucose.columns.time", "meals.columns.time"]
    with pytest.raises(MinerError, match=r"Open as well: meals\.columns\.time"):
        map_file(path, write=True)
    map_file(path, answers=dict(zip(keys, ["measured", "ate at"], strict=True)), write=True)
    client = read_client(sheet.path)
    assert len(client.used("glucose")) == len(TIMES)
    assert client.used("meals")["label"].tolist() == ["soup", "rice"]


def test_a_time_that_names_its_stream_is_taken(sheet):
    path = sheet.path / "sheet.csv"
    text = path.read_text().replace("measured", "glucose time").replace("ate at", "meal time")
    path.write_text(text)
    assert map_file(path, write=True).complete


def test_what_is_asked_of_both_streams_is_asked_once(folder):
    rows = "".join(
        f"{at.replace('2026-03-02T', '02/03/2026 ')},{100 + k % 9},{'soup' * (k < 9)}\n"
        for k, at in enumerate(TIMES)
    )
    folder.write("sheet.csv", f"time,glucose mg/dL,food\n{rows}")
    path = folder.path / "sheet.csv"
    assert [key for each in map_file(path).asked() for key, _ in each] == ["dates"]
    map_file(path, answers={"dates": "day first"}, write=True)
    assert {"glucose", "meals"} <= {
        n for n, x in read_client(folder.path).streams.items() if len(x)
    }


def stress(folder, words) -> None:
    rows = "".join(f"{at},{words[k % len(words)]}\n" for k, at in enumerate(TIMES[::3]))
    folder.steady_glucose().write("strain.csv", f"time,stress\n{rows}")


def test_a_level_that_no_rule_book_knows_is_asked_and_counts_as_answered(folder):
    """Rest, 0 by the answer, is a quarter of the samples: known, and no stress."""
    stress(folder, ["rest", "low", "medium", "high"])
    path = folder.path / "strain.csv"
    ((key, asked),) = map_file(path).asked()[0]
    assert (key, asked.needed, asked.default) == ("levels.rest", False, "unknown")
    map_file(path, write=True)
    told = [item.what for item in read_client(folder.path).findings]
    assert any(
        "24 samples of 'stress' that cannot be read as a number ('rest')" in each for each in told
    )
    map_file(path, answers={key: "0"}, write=True)
    client = read_client(folder.path)
    assert not any("cannot be read as a number" in item.what for item in client.findings)
    assert len(client.used("stress")) > 0


def test_levels_that_are_all_unknown_are_asked_one_by_one_before_anything_is_saved(folder):
    stress(folder, ["green", "red"])
    path = folder.path / "strain.csv"
    keys = [key for key, _ in map_file(path).asked()[0]]
    assert keys == ["levels.green", "levels.red"]
    with pytest.raises(MinerError, match="levels"):
        map_file(path, write=True)
    entry = (
        map_file(path, answers=dict(zip(keys, "03", strict=True)), write=True).proposals[0].entry
    )
    assert entry["levels"] == {"green": 0, "red": 3}
    assert entry["episodes"]["at_least"] == 3


def test_at_least_one_level_must_be_known(folder):
    stress(folder, ["green", "red"])
    answers = {"levels.green": "unknown", "levels.red": "unknown"}
    with pytest.raises(MinerError) as error:
        map_file(folder.path / "strain.csv", answers=answers, write=True)
    assert "pydantic" not in error.value.message
    assert "Field required" not in error.value.message


def test_readings_by_date_alone_are_refused_in_one_message(folder):
    """Asking what the file holds led to asking for a column of times, and that to nothing."""
    rows = "".join(f"2026-03-{day:02d},{90 + day}\n" for day in range(1, 20))
    folder.write("readings.csv", f"date,glucose mg/dL\n{rows}")
    for answers in ({}, {"stream": "glucose"}, {"stream": "glucose", "columns.time": "date"}):
        with pytest.raises(MinerError, match="the dates in 'date' have no time of day"):
            map_file(folder.path / "readings.csv", answers=answers)


def test_directives_that_are_given_make_times_of_what_could_not_be_read(folder):
    rows = "".join(f"{4 + k // 60}. March 2026 8:{k % 60:02d},{100 + k % 7}\n" for k in range(90))
    folder.write("readings.csv", f"when,glucose mg/dL\n{rows}")
    path = folder.path / "readings.csv"
    with pytest.raises(MinerError, match=r"--set \"time_format="):
        map_file(path)
    map_file(path, answers={"time_format": "%d. %B %Y %H:%M"}, write=True)
    glucose = read_client(folder.path).used("glucose")
    assert str(glucose["time"].iloc[0]) == "2026-03-04 08:00:00"
    assert len(glucose) == 90


@pytest.mark.parametrize(
    "text",
    [
        '{"resourceType": "Bundle", "entry": []}',
        '{"resourceType":"Observation","status":"final"}\n' * 3,
        '[{"header": {"id": "1", "schema_id": {"name": "blood-glucose"}}, "body": {}}]',
        '{"blood_glucose": {"value": 101}, "effective_time_frame": {"date_time": "2026-03-01"}}',
    ],
)
def test_records_of_an_open_standard_need_no_mapping(folder, text):
    folder.write("records.ndjson", text)
    with pytest.raises(MinerError, match="nothing to map"):
        map_file(folder.path / "records.ndjson")


def test_a_few_words_among_times_of_day_do_not_hide_the_dates(folder):
    """One row in ten says 'vormittags': the others have their times, that one its day."""
    folder.steady_glucose("2026-03-01", 24 * 12)
    rows = "".join(
        f"{day:02d}.03.26;{clock};soup\n"
        for day in range(1, 13)
        for clock in ("8:05", "12:30", "19:10", *(["vormittags"] if day % 3 == 0 else []))
    )
    folder.write("essen.csv", f"Tag;Uhrzeit;Essen\n{rows}")
    path = folder.path / "essen.csv"
    map_file(path, answers={"dates": "day first"}, write=True)
    frame = read_client(folder.path).streams["meals"]
    assert (len(frame), (frame["left_out"] == "").sum()) == (40, 36)


def test_a_level_of_no_stress_alone_never_counts_as_stress(folder):
    """Of four words only calm is known: the others are asked first, and 0 is no stress."""
    stress(folder, ["calm", "tense", "strained", "worn"])
    found = map_file(folder.path / "strain.csv")
    assert [item.needed for _, item in found.asked()[0]] == [True] * 3
    answers = {f"levels.{word}": "0" for word in ("tense", "strained", "worn")}
    map_file(folder.path / "strain.csv", answers=answers, write=True)
    client = read_client(folder.path)
    assert len(client.used("stress")) == 0
    assert len(client.worn["stress"]) > 0


def test_a_stream_that_cannot_be_fed_is_not_offered_and_what_it_lacks_is_named(folder):
    rows = "".join(f"2026-03-{day:02d} 23:10,7:{day:02d}\n" for day in range(1, 9))
    path = folder.write("nights.csv", f"bedtime,time asleep\n{rows}").path / "nights.csv"
    ((_, asked),) = map_file(path).asked()[0]
    assert asked.options == ()
    with pytest.raises(
        MinerError, match=r"column is missing for the stream glucose.*--set \"columns\.KEY"
    ):
        map_file(path, answers={"stream": "glucose"})
