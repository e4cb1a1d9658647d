"""What is proposed for files never seen: the right entry, or said that it cannot be decided."""

import hashlib
import os
import tomllib
from datetime import datetime

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from miner.core.messages import MinerError
from miner.records import read_client
from miner.records.propose import propose as proposing
from miner.records.propose.columns import how_written
from miner.records.read.sources import Source
from miner.steps.mapping import map_file

GLUCOSE = [f"{{}} {h:02d}:{m:02d}" for h in range(8) for m in range(0, 60, 15)]


def sensor(days: list[str], header: str = "Reading taken;Result", values: str = "5,4") -> str:
    rows = [f"{time.format(day)};{values}" for day in days for time in GLUCOSE]
    return "\n".join([header, *rows]) + "\n"


def text(*cells: str):
    import pandas as pd

    return pd.Series(list(cells), dtype="str")


def propose(path, **answers):
    """What is proposed for the first stream of a file."""
    return proposing.propose(path, answers)[0]


def mapped(path, **how):
    """The same, written down."""
    return map_file(path, write=True, **how).proposals[0]


def needed(proposal) -> set[str]:
    return {item.key for item in proposal.questions if item.needed}


def known(proposal, key: str):
    return next(item for item in proposal.known if item.key == key)


def test_a_sensor_export_with_a_preamble(folder):
    body = "Export of a sensor\nmade on;03/02/2026\n\n" + sensor(["13/02/2026", "02/03/2026"])
    folder.write("sensor one.txt", body, "utf-16")
    proposal = mapped(folder.path / "sensor one.txt")
    assert proposal.complete
    assert proposal.stream == "glucose"
    assert proposal.cadence_min == 15
    entry = tomllib.loads((folder.path / "sources.toml").read_text())["source"][0]
    assert entry == {
        "file": "sensor one.txt",
        "stream": "glucose",
        "encoding": "utf-16",
        "delimiter": ";",
        "skip_rows": 3,
        "decimal": ",",
        "time_format": "%d/%m/%Y %H:%M",
        "columns": {"time": "Reading taken", "glucose_mmol_l": "Result"},
    }
    client = read_client(folder.path)
    assert len(client.used("glucose")) == 2 * len(GLUCOSE)
    assert known(proposal, "skip_rows").facts == {"row": 4, "shown": "Reading taken"}
    told = known(proposal, "time_format")
    assert (told.code, dict(told.facts)) == (
        "day_first",
        {"count": 32, "shown": "13/02/2026 00:00"},
    )


def test_day_first_and_month_first_cannot_be_told_apart(folder):
    folder.write("sensor.csv", sensor(["01/02/2026", "02/02/2026", "03/02/2026"]))
    proposal = propose(folder.path / "sensor.csv")
    assert needed(proposal) == {"dates"}
    (item,) = [item for item in proposal.questions if item.needed]
    assert [(one.value, one.sets["time_format"]) for one in item.options] == [
        ("day first", "%d/%m/%Y %H:%M"),
        ("month first", "%m/%d/%Y %H:%M"),
    ]
    day, month = (one.facts for one in item.options)
    assert (day["first"], day["last"], day["widest"]) == ("2026-02-01", "2026-02-03", 1)
    assert (month["first"], month["last"], month["widest"]) == ("2026-01-02", "2026-03-02", 31)
    assert "time_format" not in proposal.entry
    with pytest.raises(MinerError, match='Give --set "dates=day first", or --set "dates=month'):
        mapped(folder.path / "sensor.csv")
    assert not (folder.path / "sources.toml").exists()
    entry = mapped(folder.path / "sensor.csv", answers={"dates": "month first"}).entry
    assert entry["time_format"] == "%m/%d/%Y %H:%M"


@pytest.mark.parametrize(
    ("cells", "formats"),
    [
        (["2026-03-02T08:00", "2026-03-02 08:05"], (None,)),
        (["2026-03-02T08:00:00+01:00", "2026-03-02T08:05:00Z"], (None,)),
        (["13/02/2026 08:00", "02/03/2026 08:05"], ("%d/%m/%Y %H:%M",)),
        (["02/13/2026 8:00 AM", "03/02/2026 12:05 PM"], ("%m/%d/%Y %I:%M %p",)),
        (["13.02.26 08:00", "02.03.26 08:05"], ("%d.%m.%y %H:%M",)),
        (["2026/02/13 08:00:01"], (None,)),
        (["2026/02/13 8:00 PM"], ("%Y/%m/%d %I:%M %p",)),
        (["1772409600000", "1772409900000"], (None,)),
        (["13-02-2026, 08:00"], ("%d-%m-%Y, %H:%M",)),
        (["13 Feb 2026 08:00", "02 Mar 2026 08:05"], ("%d %b %Y %H:%M",)),
        (["Feb 13, 2026 08:00", "Mar 2, 2026 08:05"], ("%b %d, %Y %H:%M",)),
        (["13/02/2026 08.00"], ("%d/%m/%Y %H.%M",)),
        (["13/02/2026 08:00:00 +0100"], ("%d/%m/%Y %H:%M:%S %z",)),
        (["20260213T0800"], (None,)),
        (["202602130800"], ("%Y%m%d%H%M",)),
        (["01/02/2026 08:00"], ("%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M")),
        (["13/02/2026 08:00", "02/13/2026 08:00"], ("%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M")),
        (["26-03-02 08:00"], ("%y-%m-%d %H:%M", "%d-%m-%y %H:%M")),
        (["11/12/10 08:00"], ("%y/%m/%d %H:%M", "%d/%m/%y %H:%M", "%m/%d/%y %H:%M")),
    ],
)
def test_formats_from_the_whole_column(cells, formats):
    assert set(how_written(text(*cells)).forms) == set(formats)


@pytest.mark.parametrize("cells", [["soup"], ["5.4"], ["101"], [""], ["1/2"], ["10:30"]])
def test_what_is_no_time(cells):
    assert how_written(text(*cells)) is None


@pytest.mark.parametrize(
    ("header", "value", "column", "open_"),
    [
        ("time;Glucose (mg/dL)", "101", "glucose_mg_dl", set()),
        ("time;glucose", "101", "glucose_mg_dl", set()),
        ("time;glucose", "5.4", "glucose_mmol_l", set()),
        ("time;glucose mg/dL", "5.4", None, {"unit"}),
        ("time;glucose", "33", None, {"unit"}),
        ("time;Blutzucker [mmol/l]", "33", "glucose_mmol_l", set()),
    ],
)
def test_the_unit_is_decided_by_what_cannot_be(folder, header, value, column, open_):
    folder.write("sensor.csv", sensor(["2026-03-02"], header, value))
    proposal = propose(folder.path / "sensor.csv")
    assert needed(proposal) == open_
    mapped = [name for name in proposal.entry["columns"] if name.startswith("glucose")]
    assert mapped == ([column] if column else [])


def test_two_columns_of_readings_are_left_open(folder):
    folder.write("s.csv", sensor(["2026-03-02"], "time;glucose a;glucose b", "101;102"))
    assert needed(propose(folder.path / "s.csv")) == {"columns.glucose"}
    proposal = propose(folder.path / "s.csv", **{"columns.glucose": "glucose b"})
    assert proposal.entry["columns"]["glucose_mg_dl"] == "glucose b"


def test_words_for_nothing_and_words_that_may_be(folder):
    rows = sensor(["2026-03-02"], "time;glucose", "101") + "2026-03-03 08:00;n/a\n"
    folder.write("s.csv", rows + "2026-03-03 08:05;LO\n2026-03-03 08:10;error 7\n")
    proposal = propose(folder.path / "s.csv")
    assert proposal.entry["not_measured"] == ["n/a"]
    (other,) = proposal.questions
    assert (other.key, other.default, other.facts["words"]) == ("no_reading", "no", ["error 7"])
    assert not other.needed
    answered = propose(folder.path / "s.csv", no_reading="yes")
    assert answered.entry["not_measured"] == ["n/a", "error 7"]


def test_a_comma_that_may_part_thousands_is_left_open(folder):
    rows = [f'2026-03-{d:02d}T00:00;2026-03-{d:02d}T23:59;walk;"1,{d:03d}"' for d in range(1, 20)]
    folder.write("activity.csv", "\n".join(["start;end;kind;steps", *rows]))
    assert "decimal" in needed(propose(folder.path / "activity.csv"))


def test_a_night_with_units_in_its_names(folder):
    rows = [f"2026-03-{d:02d} 23:00,27000,5400,6000,1.5,{d % 2}" for d in range(1, 20)]
    header = "bedtime,duration (sec),deep_s,light_s,rem_hours,final"
    folder.write("nights.csv", "\n".join([header, *rows]))
    proposal = mapped(folder.path / "nights.csv")
    assert proposal.entry["units"] == {
        "duration": "s", "deep_min": "s", "light_min": "s", "rem_min": "h",
    }  # fmt: skip
    folder.steady_glucose("2026-03-01", 24 * 5)
    assert read_client(folder.path).streams["sleep"]["deep_min"].unique().tolist() == [90]


@pytest.mark.parametrize(
    ("name", "length", "unit"),
    [
        ("sleep", 450, "min"), ("sleep", 27000, "s"), ("sleep", 7.5, "h"), ("sleep", 1000, None),
        ("walks", 45, "min"), ("walks", 1800, "s"), ("walks", 150, None),
    ],
)  # fmt: skip
def test_the_unit_of_a_length_is_decided_by_what_can_be(folder, name, length, unit):
    rows = [f"2026-03-{d:02d} 23:00,{length},walk" for d in range(1, 20)]
    folder.write(f"{name}.csv", "\n".join(["start,duration,activity kind", *rows]))
    proposal = propose(
        folder.path / f"{name}.csv", stream="sleep" if name == "sleep" else "activity"
    )
    assert proposal.entry.get("units", {}).get("duration") == unit
    assert needed(proposal) == (set() if unit else {"units.duration"})


def test_meals_with_a_mark_and_levels(folder):
    rows = [f"2026-03-{d:02d} 12:10,Lunch,rice,{'low' if d % 2 else 'high'}" for d in range(1, 20)]
    folder.write("food.csv", "\n".join(["eaten at,meal,description,carbs", *rows]), "utf-8-sig")
    proposal = mapped(folder.path / "food.csv")
    assert proposal.entry["columns"] == {
        "time": "eaten at", "meal": "meal", "label": "description", "carbs_level": "carbs",
    }  # fmt: skip


def test_tags_by_date_only(folder):
    rows = [f"2026-03-{d:02d},wine" for d in range(1, 20)]
    folder.write("tags.csv", "\n".join(["day,tag", *rows]))
    assert propose(folder.path / "tags.csv").entry["columns"] == {"time": "day", "tag": "tag"}


@pytest.mark.parametrize("form", ["%Y-%m-%d,%H:%M", "%d/%m/%Y,%I:%M %p", "%Y-%m-%d 00:00,%H:%M:%S"])
def test_date_and_time_in_two_columns_are_put_together(folder, form):
    times = [datetime(2026, 3, d, h, 35) for d in range(1, 20) for h in (0, 8, 17)]
    rows = [f"{time.strftime(form)},{5 + time.hour / 10}" for time in times]
    folder.write("meter.csv", "\n".join(["Date,Time,Glucose (mmol/L)", *rows]))
    proposal = mapped(folder.path / "meter.csv")
    assert proposal.entry["columns"] == {
        "time": "Date", "time_of_day": "Time", "glucose_mmol_l": "Glucose (mmol/L)",
    }  # fmt: skip
    frame = read_client(folder.path).used("glucose")
    assert frame["clock"].tolist() == times
    assert frame["row"].tolist() == list(range(2, len(times) + 2))


def test_dates_with_two_times_of_day_are_told(folder):
    rows = [f"2026-03-{d:02d},08:30,09:30,5.4" for d in range(1, 20)]
    folder.write("glucose.csv", "\n".join(["date,time,read at,glucose", *rows]))
    path = folder.path / "glucose.csv"
    assert needed(propose(path)) == {"columns.time_of_day"}
    entry = mapped(path, answers={"columns.time_of_day": "read at"}).entry
    assert entry["columns"]["time_of_day"] == "read at"
    assert read_client(folder.path).used("glucose")["clock"].dt.hour.unique().tolist() == [9]


def test_a_file_that_says_nothing_of_its_stream(folder):
    rows = [f"2026-03-{d:02d} 08:30,{d}" for d in range(1, 20)]
    folder.write("export.csv", "\n".join(["when,x", *rows]))
    proposal = propose(folder.path / "export.csv")
    assert proposal.stream is None
    assert needed(proposal) == {"stream"}


def test_sampled_stress_counts_from_the_clients_own_upper_quarter(folder):
    """The quartile by numpy's own percentile of the levels that were measured."""
    import numpy as np

    levels = [h * m % 90 - 1 for h in range(24) for m in (0, 30)]
    rows = [f"2026-03-13 {at // 2:02d}:{at % 2 * 30:02d},{x}" for at, x in enumerate(levels)]
    folder.write("stress.csv", "\n".join(["time,stress", *rows]))
    proposal = propose(folder.path / "stress.csv")
    assert proposal.complete
    assert proposal.entry["not_measured"] == ["-1"]
    wanted = float(np.percentile([x for x in levels if x >= 0], 75))
    assert proposal.entry["episodes"]["at_least"] == wanted
    assert known(proposal, "episodes.at_least").code == "upper_quarter"
    given = propose(
        folder.path / "stress.csv", **{"episodes.at_least": "51", "stress.episodes.for_min": "20"}
    )
    assert given.entry["episodes"] == {
        "column": "stress", "at_least": 51, "for_min": 20, "join_gaps_min": 15,
    }  # fmt: skip


def test_blocks_are_mapped_whole(folder):
    times = [(h, m) for h in range(24) for m in (0, 15, 30, 45)]
    kinds = ["sitting", "walking"]
    rows = [f"2026-03-13 {h:02d}:{m:02d},900,{kinds[m % 2]},{h * 10}" for h, m in times]
    folder.write("activity.csv", "\n".join(["time,duration_s,type,steps", *rows]))
    proposal = propose(folder.path / "activity.csv")
    assert proposal.complete
    assert proposal.entry["columns"] == {
        "start": "time", "duration": "duration_s", "steps": "steps", "kind": "type",
    }  # fmt: skip
    assert proposal.entry["units"] == {"duration": "s"}


@pytest.mark.parametrize(
    ("name", "raw", "said"),
    [
        ("a.csv", b"", "the file is empty"),
        ("a.csv", b"time,glucose\n", "no row looks like a header of two or more columns"),
        ("a.csv", b"2026-03-02T08:00,101\n2026-03-02T08:05,102\n", "no row looks like a header"),
        ("a.csv", b"just one word\n", "no row looks like a header"),
        ("a.csv", b"a,a\n1,2\n3,4\n", "the column 'a' twice"),
        ("a.csv", b"\x00\x01\x02" * 30, "zero bytes"),
        ("a.csv", b"%PDF-1.7 \n", "a PDF document"),
        ("a.zip", b"PK\x03\x04 not really", "cannot be opened"),
        ("a.jsonl", b"{", "this line is not valid JSON"),
        ("a.jsonl", b"[1]", "there is no object"),
    ],
)
def test_what_cannot_be_mapped_is_told(folder, name, raw, said):
    folder.write(name, raw)
    with pytest.raises(MinerError) as error:
        propose(folder.path / name)
    assert said in error.value.message


def test_no_such_file(folder):
    with pytest.raises(MinerError, match="there is no such file"):
        propose(folder.path / "nobody.csv")


def test_one_byte_letters_are_told(folder):
    body = "Uhrzeit;Glukose (mg/dL);Gerät\n" + "".join(
        f"2026-03-02 08:{m:02d};101;Gerät\n" for m in range(30)
    )
    folder.write("a.csv", body, "cp1252")
    proposal = propose(folder.path / "a.csv")
    assert proposal.entry["encoding"] == "cp1252"
    assert not proposal.questions
    assert known(proposal, "encoding").facts["shown"] == "Gerät"


@pytest.mark.parametrize(
    ("words", "encoding", "decided"),
    [
        ("Frühstück", "cp1252", True), ("café", "cp1252", True), ("café", "mac-roman", True),
        ("crème", "cp1252", False), ("oběd", "cp1250", False),
    ],
)  # fmt: skip
def test_an_encoding_is_asked_only_where_its_letters_may_be_others(
    folder, words, encoding, decided
):
    """In one other code page the bytes of crème spell crčme; those of Frühstück spell nothing."""
    rows = "".join(f"2026-03-{day:02d} 08:00;{words}\n" for day in range(1, 20))
    folder.write("food.csv", f"time;eaten\n{rows}", encoding)
    proposal = propose(folder.path / "food.csv")
    asked = [item for item in proposal.questions if item.key == "encoding"]
    assert bool(asked) is not decided
    if decided:
        assert proposal.sample[0].values[0][1] == words
    else:
        assert encoding in [option.value for option in asked[0].options]


def test_one_export_is_mapped_once_for_a_practice(folder):
    shared = folder.path.parent / "sources.toml"
    shared.write_text('[[source]]\nfile = "x"\nstream = "tags"\ncolumns = {time="a",tag="b"}')
    folder.write("sensor_2026-03-02.csv", sensor(["2026-03-02"], "time;glucose", "101"))
    raw = hashlib.sha256((folder.path / "sensor_2026-03-02.csv").read_bytes()).hexdigest()
    written = map_file(folder.path / "sensor_2026-03-02.csv", write=True, practice=True)
    assert written.written == "practice/sources.toml"
    assert written.proposals[0].entry["file"] == "sensor_*.csv"
    assert len(read_client(folder.path).used("glucose")) == len(GLUCOSE)
    assert raw == hashlib.sha256((folder.path / "sensor_2026-03-02.csv").read_bytes()).hexdigest()


def test_odd_names_stay_what_they_are(folder):
    header = 'time;glucose "x"\t\\ [mg/dL]  \N{RIGHT-TO-LEFT OVERRIDE}z'
    folder.write("a[1].csv", sensor(["2026-03-02"], header.replace('"', "'"), "101"))
    mapped(folder.path / "a[1].csv")
    toml = (folder.path / "sources.toml").read_text()
    assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in toml
    assert len(read_client(folder.path).used("glucose")) == len(GLUCOSE)


PIECES = [b";", b",", b"\t", b'"', b"\n", b"\r", b"\xff", b"\x00", b"1/2/26", b"mmol/L", b"-", b""]
BASES = [
    sensor(["13/02/2026"]).encode(),
    b"start,end,deep_min\n2026-03-01T23:00,2026-03-02T06:00,90\n" * 4,
    b'{"time": "2026-03-02T08:00", "glucose": 101, "a": {"b": [1]}}\n' * 5,
    "time,meal,label,carbs\n02/03/26 08:00,lunch,soupé,40\n".encode("utf-16"),
]


FUZZ_TIMES = int(os.environ.get("FUZZ_TIMES", "1"))


@pytest.mark.cases
@settings(max_examples=50 * FUZZ_TIMES, derandomize=True, deadline=None, phases=[Phase.generate])
@given(
    base=st.sampled_from(BASES),
    suffix=st.sampled_from(["csv", "txt", "jsonl"]),
    edits=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 9), st.sampled_from(PIECES))),
)
def test_any_file_gets_a_valid_entry_or_a_message(tmp_path_factory, base, suffix, edits):
    for place, removed, put in edits:
        at = int(place * len(base))
        base = base[:at] + put + base[at + removed :]
    path = tmp_path_factory.mktemp("any") / f"a.{suffix}"
    path.write_bytes(base)
    proposal = None
    parts = ("", "", "")
    try:
        proposal = propose(path)
    except MinerError as error:
        parts = (error.found, error.expected, error.do)
    if proposal is None:
        assert all(parts)
        return
    table = tomllib.loads(proposal.toml)["source"][0]
    if proposal.complete:
        Source.model_validate(table)


def test_zeros_do_not_suggest_a_unit(tmp_path):
    path = tmp_path / "meter.csv"
    rows = [f"2026-03-02 08:{m:02d},{0 if m % 3 else 100}" for m in range(60)]
    path.write_text("\n".join(["When,Glucose (mg/dL)", *rows]) + "\n")
    assert propose(path).entry["columns"]["glucose_mg_dl"] == "Glucose (mg/dL)"
    path.write_text("\n".join(["When,Glucose", *(row[:17] + "0" for row in rows)]) + "\n")
    proposal = propose(path)
    assert "glucose_mg_dl" not in proposal.entry.get("columns", {})
    assert not proposal.complete


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (sensor(["2026-03-02"]).replace(";", ","), "97 rows|96 rows|32 rows"),
        (b"\x1f\x8b\x08\0" + b"x" * 50, "a compressed file, not text.*in the program that made it"),
        (b"a\0\0\0\xff\xfe" * 40, "holds zero bytes and is not UTF-16"),
    ],
)
def test_what_cannot_be_mapped_is_not_sent_round_in_a_circle(folder, content, said):
    folder.write("s.csv", content)
    with pytest.raises(MinerError, match=said) as caught:
        propose(folder.path / "s.csv")
    assert "miner map" not in caught.value.message


def test_times_counted_from_1970_are_read(folder):
    rows = "".join(f"{1772409600000 + 300000 * at},{100 + at % 7}\n" for at in range(50))
    folder.write("s.csv", f"timestamp,glucose mg/dl\n{rows}")
    folder.write("client.toml", 'time_zone = "Europe/Lisbon"')
    assert mapped(folder.path / "s.csv").entry["units"] == {"time": "epoch_ms"}
    # 1772409600 is 2026-03-02T00:00:00Z (date -u -d @1772409600); Lisbon has no offset in March
    assert str(read_client(folder.path).used("glucose")["clock"].iloc[0]) == "2026-03-02 00:00:00"


def test_every_encoding_that_fits_is_offered(folder):
    text = "\u65e5\u6642,\u8840\u7cd6\u5024(mg/dL)\n" + "".join(
        f"2026-03-02 {at // 12:02d}:{at % 12 * 5:02d},{100 + at % 7}\n" for at in range(50)
    )
    folder.write("s.csv", text, "cp932")
    (item,) = [item for item in propose(folder.path / "s.csv").questions if item.key == "encoding"]
    assert "cp932" in [one.value for one in item.options]


def test_a_pulse_is_not_taken_for_glucose(folder):
    """Beats a minute lie where mg/dL do; the name of the file alone does not decide."""
    folder.write("sensor heart rate.csv", sensor(["2026-03-02"], "time;value", "88"))
    assert needed(propose(folder.path / "sensor heart rate.csv")) == {"stream"}


def test_readings_beside_meals_are_not_those_of_a_sensor(folder):
    rows = [f"2026-03-{d:02d} {h}:10,soup,{100 + d},40" for d in range(1, 20) for h in (12, 19)]
    folder.write("meals.csv", "\n".join(["time,food,glucose before,carbs", *rows]))
    assert [each.stream for each in proposing.propose(folder.path / "meals.csv")] == ["meals"]


def test_exchanges_are_not_taken_for_grams(folder):
    rows = [f"2026-03-{d:02d} 12:10,soup,{d % 6 + 1}" for d in range(1, 20)]
    folder.write("meals.csv", "\n".join(["time,food,carbs", *rows]))
    assert "carbs_g" not in propose(folder.path / "meals.csv").entry["columns"]


def test_stages_one_a_row_are_not_nights(folder):
    rows = [f"2026-03-02 0{h}:{m:02d},2026-03-02 0{h}:{m + 9:02d},deep" for h in range(7)
            for m in range(0, 50, 10)]  # fmt: skip
    folder.write("sleep stages.csv", "\n".join(["start,end,stage", *rows]))
    assert needed(propose(folder.path / "sleep stages.csv")) == {"rows"}


def test_the_clock_comes_before_utc_beside_it(folder):
    rows = [f"2026-03-02 {h:02d}:00,2026-03-02 {h + 1:02d}:00,101" for h in range(20)]
    folder.write("s.csv", "\n".join(["time utc,time local,glucose", *rows]))
    assert propose(folder.path / "s.csv").entry["columns"]["time"] == "time local"


def test_what_a_day_came_to_is_no_record_of_it(folder):
    rows = [f"2026-03-{d:02d},{d * 500},{400 + d}" for d in range(1, 20)]
    folder.write("daily summary.csv", "\n".join(["date,steps,sleep minutes", *rows]))
    with pytest.raises(MinerError, match="the dates in 'date' have no time of day"):
        propose(folder.path / "daily summary.csv")


def test_a_value_of_the_night_is_no_stress_of_the_night(folder):
    rows = [f"2026-03-{d:02d} 23:00,2026-03-{d + 1:02d} 07:00,{d}" for d in range(1, 20)]
    folder.write("sleep.csv", "\n".join(["start,end,stress score", *rows]))
    assert [each.stream for each in proposing.propose(folder.path / "sleep.csv")] == ["sleep"]


def test_a_night_may_be_told_by_the_minutes_in_it(folder):
    rows = [f"2026-03-{d:02d} 23:10,430,30" for d in range(1, 20)]
    folder.write("night.csv", "\n".join(["start,minutes asleep,minutes awake", *rows]))
    folder.steady_glucose("2026-03-01", 24 * 3)
    assert mapped(folder.path / "night.csv").entry["columns"] == {
        "start": "start", "awake_min": "minutes awake", "asleep_min": "minutes asleep",
    }  # fmt: skip
    end = read_client(folder.path).streams["sleep"]["end_clock"].iloc[0]
    assert str(end) == "2026-03-02 06:50:00"


def test_notes_beside_readings_are_tags_where_there_are_some(folder):
    rows = [f"2026-03-02 {h:02d}:{m:02d},101,{'wine' if h == 20 else ''}" for h in range(24)
            for m in (0, 30)]  # fmt: skip
    folder.write("s.csv", "\n".join(["when,glucose,notes", *rows]))
    found = map_file(folder.path / "s.csv", write=True)
    assert [(each.stream, each.rows, each.losses) for each in found.proposals] == [
        ("glucose", 48, ()), ("tags", 2, ()),
    ]  # fmt: skip
    assert len(read_client(folder.path).streams["tags"]) == 2


def test_an_encoding_that_does_not_exist_is_refused(folder):
    path = folder.write("log.csv", "when,what\n2026-03-01 08:00,soup\n").path / "log.csv"
    with pytest.raises(MinerError, match="utf-99"):
        propose(path, encoding="utf-99")


def test_a_column_of_times_holds_little_else() -> None:
    dates = [f"2026-03-{day:02d} 08:00" for day in range(1, 29)]
    assert how_written(text(*dates, "late")) is not None
    assert how_written(text(*dates, *"abcde")) is None
