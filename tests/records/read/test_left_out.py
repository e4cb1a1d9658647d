"""Cells and rows that are doubtful: left out, counted once a kind, with the first row."""

import numpy as np
import pytest

from miner.core.messages import MinerError
from miner.core.results import Severity
from miner.records import read_client
from miner.records.columns import NO_TIME


def finding(client, words, severity=None):
    found = [item for item in client.findings if words in item.what]
    assert len(found) == 1, [item.what for item in client.findings]
    if severity is not None:
        assert found[0].severity == severity
    return found[0]


def test_lo_and_hi_are_censored_whatever_their_case(folder):
    words = ["LO", "lo", "Low", "HI", "high", "<40", "> 400"]
    folder.glucose(
        *(f"2026-03-02T08:{5 * at:02d},{word}" for at, word in enumerate(words)),
        "2026-03-02T09:00,100",
    )
    frame = read_client(folder.path).used("glucose")
    assert frame["censored"].tolist() == [-1, -1, -1, 1, 1, -1, 1, 0]
    assert frame["glucose"].isna().tolist() == [True] * 7 + [False]


def test_impossible_and_unreadable_values(folder):
    rows = [
        (0, "19"),
        (5, "20"),
        (10, "600"),
        (15, "601"),
        (20, "1e9"),
        (25, "??"),
        (30, "inf"),
        (35, ""),
        (40, "nan"),
        (45, "100"),
        (50, "100"),
        (55, "-7"),
    ]
    folder.glucose(*(f"2026-03-02T08:{minute:02d},{word}" for minute, word in rows))
    client = read_client(folder.path)
    assert client.used("glucose")["glucose"].tolist() == [20, 600, 100, 100]
    odd = finding(client, "outside any possible range", Severity.LEFT_OUT)
    assert (odd.count, odd.row, odd.expected) == (4, 2, "20 to 600 mg/dL")
    bad = finding(client, "cannot be read as a number", Severity.LEFT_OUT)
    assert bad.count == 3
    assert "'??'" in bad.what


def test_one_bad_row_among_many_is_one_finding_with_its_row(folder):
    folder.steady_glucose(hours=24 * 30)
    text = (folder.path / "glucose.csv").read_text().splitlines()
    text[4321] = "sometime,104"
    folder.write("glucose.csv", "\n".join(text))
    client = read_client(folder.path)
    told = finding(client, "cannot be read", Severity.LEFT_OUT)
    assert (told.file, told.row, told.count) == ("glucose.csv", 4322, 1)
    assert len(client.streams["glucose"]) == 24 * 30 * 12 - 1


def test_unit_that_cannot_be_right_stops(folder):
    folder.glucose(*(f"2026-03-02T08:{m:02d},5.{m % 10}" for m in range(0, 60, 5)))
    client = read_client(folder.path)
    told = finding(client, "which cannot be mg/dL", Severity.STOP)
    assert "mmol/L" in told.do
    assert client.streams["glucose"].empty


def test_mg_dl_under_the_name_of_mmol_stops(folder):
    folder.glucose(
        *(f"2026-03-02T08:{m:02d},105" for m in range(0, 60, 5)), header="time,glucose_mmol_l"
    )
    told = finding(read_client(folder.path), "which cannot be mmol/L", Severity.STOP)
    assert told.file == "glucose.csv"


def test_times_in_another_format_stop_and_name_time_format(folder):
    folder.glucose(*(f"02/03/2026 08:{m:02d},105" for m in range(0, 60, 5)))
    told = finding(read_client(folder.path), "no time in 'time' could be read", Severity.STOP)
    assert "'02/03/2026 08:00'" in told.what
    assert "time_format" in told.do


@pytest.mark.parametrize("word", ["now", "Today", "NaT", "-2026-03-02T08:20", "2026-03-02T24:01"])
@pytest.mark.parametrize("mapped", [False, True])
def test_words_are_never_times(folder, word, mapped):
    folder.glucose("2026-03-02T08:00,101", f"{word},102", "2026-03-02T08:10,103")
    if mapped:
        folder.write(
            "sources.toml",
            '[[source]]\nfile = "glucose.csv"\nstream = "glucose"\n'
            'time_format = "%Y-%m-%dT%H:%M"\n[source.columns]\ntime = "time"\n'
            'glucose_mg_dl = "glucose_mg_dl"\n',
        )
    client = read_client(folder.path)
    assert client.streams["glucose"]["glucose"].tolist() == [101, 103]
    assert finding(client, "cannot be read").row == 3


def test_names_of_files_in_capitals(folder):
    folder.write("Glucose March.CSV", "time,glucose_mg_dl\n2026-03-02T08:00,101\n")
    assert len(read_client(folder.path).streams["glucose"]) == 1


def test_ragged_rows_are_left_out_with_their_rows(folder):
    folder.glucose(
        "2026-03-02T08:00,101", "2026-03-02T08:05,5,4", "2026-03-02T08:10,103", "2026-03-02T08:15"
    )
    client = read_client(folder.path)
    told = finding(client, "with more than the 2 cells", Severity.LEFT_OUT)
    assert (told.row, told.count) == (3, 1)
    assert client.streams["glucose"]["glucose"].tolist() == [101, 103]


def test_a_quote_that_swallows_many_rows_is_asked_about(folder):
    folder.steady_glucose()
    rows = [f"2026-03-02T08:{minute:02d},rice" for minute in range(30)]
    rows[0], rows[29] = rows[0].replace("rice", '"rice'), rows[29] + '"'
    folder.write("meals.csv", "\n".join(["time,label", *rows, "2026-03-02T19:00,fish"]))
    client = read_client(folder.path)
    told = finding(client, "a missing quote makes one text", Severity.QUESTION)
    assert told.row == 2
    assert client.streams["meals"]["label"].tolist() == ["fish"]


def test_a_stray_pair_of_quotes_that_swallows_three_meals(folder):
    folder.steady_glucose()
    rows = [
        *["2026-03-02T08:00,oats,40", '2026-03-02T10:00,"tea, 2 rolls'],
        *["2026-03-02T13:00,rice,60", '2026-03-02T16:00,an apple",20', "2026-03-02T19:00,fish,10"],
    ]
    folder.write("meals.csv", "\n".join(["time,label,carbs_g", *rows]) + "\n")
    client = read_client(folder.path)
    told = finding(client, "a missing quote makes one text", Severity.QUESTION)
    assert (told.row, told.count, told.stream) == (3, 1, "meals")
    assert client.streams["meals"]["label"].tolist() == ["oats", "fish"]


def test_a_quote_that_swallows_afternoons_alone_is_asked_about(folder):
    folder.steady_glucose()
    rows = ['2026-03-02 07:57 AM,"toast', "2026-03-02 12:16 PM,rice", '2026-03-02 07:15 PM,pasta"']
    folder.write("meals.csv", "\n".join(["time,label", *rows, "2026-03-03 08:00 AM,eggs"]) + "\n")
    told = finding(read_client(folder.path), "a missing quote makes one text", Severity.QUESTION)
    assert (told.row, told.count, told.stream) == (2, 1, "meals")


def test_a_label_of_several_lines_is_no_row(folder):
    folder.steady_glucose()
    folder.write("meals.csv", 'time,label\n2026-03-02T08:00,"Rice 150 g\nSpinach, 100 g"\n')
    client = read_client(folder.path)
    assert client.streams["meals"]["row"].tolist() == [2]
    assert not [item for item in client.findings if "quote" in item.what]


def test_rows_with_fewer_cells_than_the_header_are_told(folder):
    folder.steady_glucose()
    rows = ["2026-03-02T08:00,oats,40,5,3", "2026-03-02T13:00,rice,60", '2026-03-02T19:00,"a, b"']
    folder.write("meals.csv", "\n".join(["time,label,carbs_g,protein_g,fat_g", *rows]) + "\n")
    client = read_client(folder.path)
    told = finding(client, "2 rows with fewer than the 5 cells", Severity.QUESTION)
    assert (told.row, told.count, told.code) == (3, 2, "short_row")
    assert "'carbs_g', 'protein_g', 'fat_g'" in told.do
    np.testing.assert_array_equal(client.streams["meals"]["carbs_g"], [40, 60, np.nan])


@pytest.mark.parametrize(
    ("end", "kept"),
    [
        ("2026-03-02T08:15,5.", 3),
        ("2026-03-02T08:15,5", 3),
        ("2026-03-02T08:15,", 3),
        ("2026-03-02T08:15", 3),
        ("2026-03-02T08:", 3),
        ("2026-03-02T08:15,5.8", 4),
        ("2026-03-02T08:15,5.8\n", 4),
        ("2026-03-02T08:15,10.8", 4),
    ],
)
def test_a_file_that_ends_in_the_middle_of_a_row(folder, end, kept):
    rows = [f"2026-03-02T08:{minute:02d},5.{minute % 7}" for minute in (0, 5, 10)]
    folder.write("glucose.csv", "\n".join(["time,glucose_mmol_l", *rows, end]))
    client = read_client(folder.path)
    assert len(client.used("glucose")) == kept
    cut = [item for item in client.findings if item.code == "file_cut_off"]
    assert len(cut) == (kept == 3 and end != "2026-03-02T08:15,")


@pytest.mark.parametrize("cells", ["{0},{1}", "{0},{1},", "{0}.{1},"])
def test_decimal_commas_between_commas(folder, cells):
    lines = [f"2026-03-02T{at // 12:02d}:{at % 12 * 5:02d},{cells.format(5, at % 10)}" for at in
             range(40)]  # fmt: skip
    folder.write("glucose.csv", "\n".join(["time,glucose_mmol_l,note", *lines]) + "\n")
    client = read_client(folder.path)
    told = [item for item in client.findings if item.code == "lost_decimals"]
    assert [item.severity for item in told] == [Severity.STOP] * (cells[3] == ",")
    assert client.streams["glucose"].empty == (cells[3] == ",")


def test_decimal_commas_of_grams_are_asked_about(folder):
    folder.steady_glucose()
    lines = [f"2026-03-02T{at:02d}:00,rice,{10 + at},{at % 10}" for at in range(12)]
    folder.write("meals.csv", "\n".join(["time,label,carbs_g,note", *lines]) + "\n")
    told = finding(read_client(folder.path), "seem to be in the next column", Severity.QUESTION)
    assert (told.column, told.stream) == ("carbs_g", "meals")


def test_whole_numbers_in_mmol_are_asked_about(folder):
    rows = [f"2026-03-02T{at // 12:02d}:{at % 12 * 5:02d},{5 + at % 3}" for at in range(40)]
    folder.glucose(*rows, header="time,glucose_mmol_l")
    assert finding(read_client(folder.path), "has a decimal", Severity.QUESTION).stream == "glucose"


def test_every_row_longer_than_the_header(folder):
    folder.glucose("2026-03-02T08:00,5,4", "2026-03-02T08:05,5,6")
    folder.write("glucose-2.csv", "time,glucose_mg_dl\n2026-03-02T09:00,100\n")
    client = read_client(folder.path)
    assert finding(client, "with more than the 2 cells").count == 2
    assert client.streams["glucose"]["glucose"].tolist() == [100]


def test_a_delimiter_at_the_end_of_every_row_is_no_fault(folder):
    folder.glucose("2026-03-02T08:00,101,", "2026-03-02T08:05,102,")
    client = read_client(folder.path)
    assert client.streams["glucose"]["glucose"].tolist() == [101, 102]
    assert not [f for f in client.findings if f.severity == Severity.LEFT_OUT]


def test_row_numbers_are_lines_of_the_file(folder):
    folder.glucose(
        "2026-03-02T08:00,101", "", "2026-03-02T08:10,103", header="\ntime,glucose_mg_dl"
    )
    folder.write(
        "meals.csv",
        'time,label\n2026-03-02T08:00,"soup\nand bread"\n2026-03-02T13:00,rice\n\n'
        "2026-03-02T19:00,fish\n",
    )
    client = read_client(folder.path)
    assert client.streams["glucose"]["row"].tolist() == [3, 5]
    assert client.streams["meals"]["row"].tolist() == [2, 4, 6]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(folder, end):
    folder.write(
        "glucose.csv",
        f"time,glucose_mg_dl{end}2026-03-02T08:00,101{end}{end}2026-03-02T08:10,103{end}",
    )
    frame = read_client(folder.path).streams["glucose"]
    assert frame["glucose"].tolist() == [101, 103]
    assert frame["row"].tolist() == [2, 4]


def test_impossible_years(folder):
    folder.steady_glucose()
    folder.write(
        "meals.csv",
        "time,label\n2033-03-02T08:00,soup\n2026-03-02T13:00,rice\n"
        "1926-03-02T13:00,fish\n2027-03-02T13:00,beans\n",
    )
    client = read_client(folder.path)
    told = finding(client, "with a date that is impossible", Severity.LEFT_OUT)
    assert (told.count, told.row) == (2, 2)
    assert client.streams["meals"]["label"].tolist() == ["rice", "beans"]


def test_impossible_years_of_the_sensor_itself(folder):
    folder.steady_glucose()
    text = (folder.path / "glucose.csv").read_text()
    folder.write("glucose.csv", text + "2062-03-02T08:00,104\n")
    client = read_client(folder.path)
    assert finding(client, "with a date that is impossible").count == 1
    assert client.streams["glucose"]["clock"].max().year == 2026


def test_ends_before_it_starts_and_longer_than_a_day(folder):
    folder.steady_glucose()
    folder.write(
        "sleep.csv",
        "start,end\n2026-03-02T23:00,2026-03-02T06:00\n2026-03-01T23:00,2026-03-03T06:00\n"
        "2026-03-03T23:00,2026-03-04T06:00\n",
    )
    client = read_client(folder.path)
    assert finding(client, "an end before the start").row == 2
    assert finding(client, "longer than 24 hours").row == 3
    assert client.used("sleep")["row"].tolist() == [4]


def test_negative_grams_and_unknown_levels_are_not_recorded(folder):
    folder.steady_glucose()
    folder.write(
        "meals.csv",
        "time,label,carbs_g,protein_g,carbs_level,meal\n"
        "2026-03-02T08:00,oats,-5,,High,Breakfast\n2026-03-02T13:00,rice,60,,much,lunch\n"
        "2026-03-02T19:00,fish,,12,,\n",
    )
    client = read_client(folder.path)
    meals = client.streams["meals"]
    assert np.isnan(meals["carbs_g"].to_numpy()).tolist() == [True, False, True]
    assert meals["carbs_level"].tolist() == ["high", "", ""]
    assert meals["meal"].tolist() == ["breakfast", "lunch", ""]
    assert finding(client, "outside any possible range").row == 2
    assert "'much'" in finding(client, "unknown word in 'carbs_level'").what


def test_dates_without_a_time_of_day(folder):
    folder.steady_glucose()
    folder.write("meals.csv", "time,label\n2026-03-02,rice\n2026-03-02T13:00,rice\n")
    folder.write("tags.csv", "time,tag\n2026-03-02,Wine\n2026-03-03T21:00,  LATE\u00a0 coffee \n")
    client = read_client(folder.path)
    assert (
        finding(client, "without a time of day in 'time' (", Severity.LEFT_OUT).file == "meals.csv"
    )
    assert client.used("meals")["row"].tolist() == [3]
    assert client.streams["meals"]["left_out"].tolist() == ["no_time_of_day", ""]
    tags = client.streams["tags"]
    assert tags["start_clock"].dt.strftime("%d %H:%M").tolist() == ["02 12:00", "03 21:00"]
    assert tags["date_only"].tolist() == [True, False]
    assert tags["tag"].tolist() == ["wine", "late coffee"]


def test_files_that_nobody_maps_are_named(folder):
    folder.steady_glucose().write("weight.csv", "time,kg\n2026-03-02,80\n")
    folder.write("ticks-plan.csv", "date,plan,tick\n")
    client = read_client(folder.path)
    told = finding(
        client, "the file is not read, because nothing says what its columns hold", Severity.NOTE
    )
    assert told.file == "weight.csv"


def test_unused_columns_are_named_once(folder):
    folder.glucose("2026-03-02T08:00,101,x,y", header="time,glucose_mg_dl,device,note")
    told = finding(read_client(folder.path), "2 columns not used ('device', 'note')", Severity.NOTE)
    assert told.file == "glucose.csv"


def test_nothing_in_the_folder_is_written(folder):
    folder.steady_glucose().write("client.toml", 'code = "A"\n')
    before = {path: path.read_bytes() for path in folder.path.iterdir()}
    read_client(folder.path)
    assert {path: path.read_bytes() for path in folder.path.iterdir()} == before


def test_stages_add_up_where_time_asleep_is_missing(folder):
    folder.steady_glucose()
    folder.write(
        "sleep.csv",
        "start,end,asleep_min,deep_min,rem_min,light_min\n"
        "2026-03-01T23:00,2026-03-02T06:00,,60,90,240\n"
        "2026-03-02T23:00,2026-03-03T06:00,,60,,240\n"
        "2026-03-03T23:00,2026-03-04T06:00,400,60,90,240\n",
    )
    asleep = read_client(folder.path).streams["sleep"]["asleep_min"].to_numpy()
    assert asleep[0] == 390
    assert np.isnan(asleep[1])
    assert asleep[2] == 400


def test_what_is_written_beside_the_records_is_no_record(folder):
    folder.steady_glucose()
    for name in ("ledger.jsonl", ".ledger.lock", ".hidden.csv"):
        folder.write(name, "{}\n")
    client = read_client(folder.path)
    assert not [item for item in client.findings if "not read" in item.what]
    (folder.path / "glucose.csv").unlink()
    folder.write("weight.csv", "time,kg\n")
    with pytest.raises(MinerError, match=r"only weight\.csv\."):
        read_client(folder.path)


@pytest.mark.parametrize(
    ("written", "keys"),
    [
        ("2026-03-02 25:71", ""),
        ("2026-03-02T8 Uhr", ""),
        ("2026-03-02", ""),
        ("02/03/2026 ?", 'time_format = "%d/%m/%Y %H:%M"\n'),
    ],
)
def test_a_meal_whose_time_of_day_cannot_be_read_keeps_its_day(folder, written, keys):
    other = "02/03/2026 12:00" if keys else "2026-03-02T12:00"
    folder.steady_glucose().write("food.csv", f"when,what\n{other},soup\n{written},rice\n")
    entry = f'[[source]]\nfile = "food.csv"\nstream = "meals"\n{keys}'
    folder.write("sources.toml", f'{entry}[source.columns]\ntime = "when"\nlabel = "what"\n')
    client = read_client(folder.path)
    frame = client.streams["meals"]
    lost = frame[frame["left_out"] == NO_TIME]
    assert lost[["label", "row"]].to_numpy().tolist() == [["rice", 3]]
    assert lost["clock"].dt.strftime("%Y-%m-%d").tolist() == ["2026-03-02"]
    (told,) = [item for item in client.findings if item.code == "no_time_of_day"]
    assert (told.row, told.count) == (3, 1)
