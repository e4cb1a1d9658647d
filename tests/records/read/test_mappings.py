"""Files under other names, in other formats, mapped by sources.toml."""

import numpy as np
import pytest

from miner.core.messages import MinerError
from miner.records import read_client
from miner.records.columns import MG_DL_PER_MMOL_L

SENSOR = """\
[[source]]
file = "sensor*.txt"
stream = "glucose"
skip_rows = 2
delimiter = ";"
decimal = ","
encoding = "utf-16"
time_format = "%d/%m/%Y %H:%M"
time_zone = "Europe/Lisbon"
not_measured = ["n/a"]
where = { Kind = ["stored"] }
[source.columns]
time = "Reading taken"
glucose_mmol_l = "Result"
"""
ROWS = """\
Export of a sensor
made on 3 March
Reading taken;Result;Kind
02/03/2026 08:00;5,4;stored
02/03/2026 08:05;n/a;stored
02/03/2026 08:07;9,9;calibration
02/03/2026 08:10;6;stored
02/03/2026 08:15;5.4;stored
"""


def write_sensor(folder, rows=ROWS, encoding="utf-16"):
    folder.write("sensor one.txt", rows, encoding)


def test_the_documented_entry(folder):
    write_sensor(folder)
    client = read_client(folder.write("sources.toml", SENSOR).path)
    used = client.used("glucose")
    # 18.0156 mg/dL per mmol/L: molar mass 180.156 g/mol from the IUPAC abridged weights.
    np.testing.assert_allclose(used["glucose"], [5.4 * 18.0156, 6 * 18.0156], rtol=1e-12)
    assert used["row"].tolist() == [4, 7]
    assert used["file"].unique().tolist() == ["sensor one.txt"]
    assert used["time"].astype(str).tolist() == ["2026-03-02 08:00:00", "2026-03-02 08:10:00"]
    (odd,) = [item for item in client.findings if "cannot be read as a number" in item.what]
    assert (odd.row, odd.count) == (8, 1)


def test_unit_factor_follows_from_the_atomic_weights():
    # IUPAC abridged standard atomic weights: C 12.011, H 1.008, O 15.999.
    molar_mass = 6 * 12.011 + 12 * 1.008 + 6 * 15.999
    assert pytest.approx(molar_mass / 10, rel=1e-9) == MG_DL_PER_MMOL_L


def test_a_unit_declared_for_the_other_column(folder):
    folder.glucose("2026-03-02T08:00,5.5", "2026-03-02T08:05,6.5")
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "glucose.csv"\nstream = "glucose"\n'
        '[source.columns]\ntime = "time"\nglucose_mg_dl = "glucose_mg_dl"\n'
        '[source.units]\nglucose_mg_dl = "mmol/L"\n',
    )
    values = read_client(folder.path).used("glucose")["glucose"]
    np.testing.assert_allclose(values, [5.5 * 18.0156, 6.5 * 18.0156], rtol=1e-12)


def test_the_clients_entry_replaces_the_practices_for_the_same_file(folder):
    write_sensor(folder)
    (folder.path.parent / "sources.toml").write_text(
        SENSOR.replace("skip_rows = 2", "skip_rows = 0")
        + '[[source]]\nfile = "food.csv"\nstream = "meals"\n'
        '[source.columns]\ntime = "at"\nlabel = "what"\n'
    )
    folder.write("food.csv", "at,what\n2026-03-02T08:30,oats\n")
    with pytest.raises(MinerError, match="there is no column 'Reading taken'"):
        read_client(folder.path)
    client = read_client(folder.write("sources.toml", SENSOR).path)
    assert len(client.used("glucose")) == 2
    assert client.streams["meals"]["label"].tolist() == ["oats"]


def test_a_clients_entry_replaces_the_practices_pattern_for_its_file(folder):
    write_sensor(folder)
    (folder.path.parent / "sources.toml").write_text(SENSOR.replace("sensor*", "*one"))
    client = read_client(folder.write("sources.toml", SENSOR).path)
    assert client.streams["glucose"]["row"].tolist() == [4, 7, 8]
    assert not [item for item in client.findings if "found twice" in item.what]


def test_minutes_from_seconds_and_hours_and_a_duration_for_the_end(folder):
    folder.steady_glucose(hours=48)
    folder.write("nights.csv", "from;long;deep;awake\n2026-03-02 23:00;7,5;5400;12\n")
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "nights.csv"\nstream = "sleep"\n'
        'delimiter = ";"\ndecimal = ","\n[source.columns]\nstart = "from"\n'
        'duration = "long"\ndeep_min = "deep"\nawake_min = "awake"\n'
        '[source.units]\nduration = "h"\ndeep_min = "s"\n',
    )
    (night,) = read_client(folder.path).streams["sleep"].to_dict("records")
    assert str(night["end"]) == "2026-03-03 06:30:00"
    assert (night["deep_min"], night["awake_min"]) == (90, 12)
    assert np.isnan(night["asleep_min"])


def test_glucose_in_both_units(folder):
    header = "time,glucose_mg_dl,glucose_mmol_l"
    rows = ["2026-03-02T08:00,100,5.55", "2026-03-02T08:05,101,5.6", "2026-03-02T08:10,,5.7"]
    folder.glucose(*rows, "2026-03-02T08:15,102,9.9", header=header)
    client = read_client(folder.path)
    assert client.used("glucose")["glucose"].tolist() == [100, 101, 102]
    assert any("the first is read" in item.what for item in client.findings)
    (odd,) = [item for item in client.findings if "from the other column" in item.what]
    assert (odd.severity, odd.count, odd.row) == ("question", 2, 4)


def test_one_file_feeds_several_streams(folder):
    folder.write("all.csv", "t,g,tag\n2026-03-02T08:00,100,\n2026-03-02T08:05,101,Wine\n")
    entry = '[[source]]\nfile = "all.csv"\nstream = "{}"\n[source.columns]\ntime = "t"\n{} = "{}"\n'
    folder.write(
        "sources.toml",
        entry.format("glucose", "glucose_mg_dl", "g")
        + entry.format("tags", "tag", "tag")
        + '[[source]]\nfile = "all.csv"\n'
        'stream = "meals"\nwhere = { tag = ["Wine"] }\n[source.columns]\ntime = "t"\n'
        '[source.constants]\nlabel = "glass of wine"\ncarbs_g = 4\n',
    )
    client = read_client(folder.path)
    assert client.used("glucose")["glucose"].tolist() == [100, 101]
    assert client.streams["tags"]["tag"].tolist() == ["wine"]
    assert client.streams["meals"]["label"].tolist() == ["glass of wine"]
    assert client.streams["meals"]["carbs_g"].tolist() == [4]


def test_a_word_of_where_that_is_nowhere_is_asked_about(folder):
    write_sensor(folder)
    folder.write("sources.toml", SENSOR.replace('["stored"]', '["stored", "storred"]'))
    client = read_client(folder.path)
    assert [item.what for item in client.findings if "storred" in item.what]


def test_a_mapped_file_that_is_not_there_is_asked_about(folder):
    folder.steady_glucose().write("sources.toml", SENSOR)
    client = read_client(folder.path)
    assert any("there is no file 'sensor*.txt'" in item.what for item in client.findings)


def test_text_that_looks_like_numbers_stays_text(folder):
    folder.steady_glucose()
    folder.write(
        "meals.csv", "time,label,carbs_g\n2026-03-02T08:00,007,60\n2026-03-02T12:00,1e3,\n"
    )
    assert read_client(folder.path).streams["meals"]["label"].tolist() == ["007", "1e3"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("skip_rows", "skip_row", "Did you mean 'skip_rows'?"),
        ('stream = "glucose"', 'stream = "glucse"', "'stream' in [source number 1]"),
        ('decimal = ","', 'decimal = "comma"', "'.' or ','"),
        ('"Europe/Lisbon"', '"Europe/Lisboa"', "Did you mean 'Europe/Lisbon'?"),
        ('encoding = "utf-16"', 'encoding = "utf-61"', "an encoding such as"),
        ('file = "sensor*.txt"', 'file = "../*.txt"', "the name of a file in the client folder"),
        ("time =", "tme =", "Did you mean 'time'?"),
        ('time = "Reading taken"\n', "", "time under [source.columns]"),
        ("glucose_mmol_l =", "sensor =", "glucose_mg_dl or glucose_mmol_l"),
        ("skip_rows = 2", "skip_rows = -1", "'skip_rows' in [source number 1] is -1"),
        ('delimiter = ";"', 'delimiter = ","', "separated by a semicolon"),
        ("[[source]]", "[[sources]]", "Did you mean 'source'?"),
        ("[[source]]", "[source]", "written with double brackets"),
        ("skip_rows = 2", 'columns = "time"', "not valid TOML"),
        ('"%d/%m/%Y %H:%M"', '"%d/%m/%Q"', 'not "%Q"'),
        ("[source.columns]", "[source.columns", "not valid TOML"),
        ('glucose_mmol_l = "Result"', 'glucose_mmol_l = "result"', "Did you mean 'Result'?"),
        ("skip_rows = 2", "skip_rows = 200", "the file ends before row 201"),
    ],
)
def test_a_mistake_in_sources_is_told_by_key(folder, old, new, said):
    write_sensor(folder)
    folder.write("sources.toml", SENSOR.replace(old, new, 1))
    with pytest.raises(MinerError) as error:
        read_client(folder.path)
    assert said in error.value.message


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('[source.units]\nend = "s"\n', "epoch_s or epoch_ms as the unit of end"),
        ('[source.units]\ndeep_min = "mg/dL"\n', "s or min or h as the unit of deep_min"),
        ("", "the unit of duration under [source.units]"),
    ],
)
def test_a_mistake_in_units_and_episodes(folder, extra, said):
    folder.steady_glucose()
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "n.csv"\nstream = "sleep"\n[source.columns]\n'
        f'start = "a"\nduration = "b"\ndeep_min = "c"\n{extra}',
    )
    with pytest.raises(MinerError) as error:
        read_client(folder.path)
    assert said in error.value.message


def test_a_time_of_day_in_a_column_of_its_own(folder):
    folder.write(
        "g.csv",
        "d,t,v\n2026-03-02,08:00,100\n2026-03-02 00:00:00,08:05,101\n2026-03-02,,102\n,08:15,103\n",
    )
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "g.csv"\nstream = "glucose"\n[source.columns]\ntime = "d"\n'
        'time_of_day = "t"\nglucose_mg_dl = "v"\n'
        '[[source]]\nfile = "s.csv"\nstream = "sleep"\ntime_format = "%d/%m/%Y %H:%M"\n'
        '[source.columns]\nstart = "d"\ntime_of_day = "t"\nduration = "h"\n'
        '[source.units]\nduration = "h"\n',
    )
    folder.write("s.csv", "d,t,h\n01/03/2026,23:10,7.5\n")
    client = read_client(folder.path)
    glucose, sleep = client.used("glucose"), client.used("sleep")
    assert glucose["clock"].astype(str).tolist() == ["2026-03-02 08:00:00", "2026-03-02 08:05:00"]
    assert str(sleep["start_clock"][0]) == "2026-03-01 23:10:00"
    assert str(sleep["end_clock"][0]) == "2026-03-02 06:40:00"
    told = {item.what: item.count for item in client.findings if item.severity == "left_out"}
    assert sum(told.values()) == 2, told
