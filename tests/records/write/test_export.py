"""What is written to take away reads back as the same streams."""

import csv
import hashlib
import json
from pathlib import Path

import pandas as pd
import pytest
from fhir.resources.R4B.observation import Observation

from miner.core import resources
from miner.core.messages import MinerError
from miner.records import STREAMS, read_client
from miner.records.columns import columns_of
from miner.steps.exporting import export

ASIDE = ("file", "row", "left_out")


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """An invented client with everything in it, and a few odd things more."""
    folder = tmp_path_factory.mktemp("practice") / "client-01"
    invented = resources.invented()
    (one,) = (each for each in invented.demo_scenarios() if each.code == folder.name)
    invented.write_client(folder, one)
    meals = folder / "meals-more.csv"
    meals.write_text(
        "time,label,carbs_level,note\n"
        '2026-01-20T12:00,"soup, ""hot""\n of the day",low,a\n'
        "2026-01-20T12:00,\N{CURRY AND RICE},low,a\n2026-01-20T12:00,\N{CURRY AND RICE},low,b\n",
        encoding="utf-8",
    )
    (folder / "activity-more.csv").write_text("start,end,kind\n2026-01-20T12:30,,walking\n")
    (folder / "glucose-more.csv").write_text(
        "time,glucose_mmol_l,sensor\n2026-03-20T11:55,5.5,\n2026-03-20T12:00,LO,\n2026-03-20T12:05,HI,\n"
        "2026-03-20T12:10,oops,\n2026-03-20T12:15,5.4,X1\n2026-03-20T12:20,34,X1\n"
    )
    return read_client(folder)


def hashes(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}


@pytest.mark.parametrize("form", ["csv", "fhir"])
def test_the_same_streams_are_read_back(client, tmp_path, form):
    before = hashes(client.folder)
    written, _ = export(client, form, tmp_path / "out")
    assert sorted(written) == sorted(p.name for p in (tmp_path / "out").iterdir())
    assert hashes(client.folder) == before
    again = read_client(tmp_path / "out")
    for stream in STREAMS:
        columns = [name for name in columns_of(stream) if name not in ASIDE]
        old, new = client.streams[stream], again.streams[stream]
        order = list(columns)
        old, new = (f.sort_values(order, ignore_index=True) for f in (old, new))
        pd.testing.assert_frame_equal(old[columns], new[columns], rtol=1e-12)
        assert old["left_out"].tolist() == new["left_out"].tolist()
    assert again.settings == client.settings


def test_every_observation_is_valid_r4(client, tmp_path):
    export(client, "fhir", tmp_path / "out")
    lines = (tmp_path / "out" / "records.ndjson").read_text(encoding="utf-8").splitlines()
    kinds = {}
    for line in lines:
        made = json.loads(line)
        kinds.setdefault(json.dumps([made["code"], sorted(made)]), made)
    assert len(lines) > 1000
    for made in kinds.values():
        Observation.model_validate(made)
        assert made["status"] == "final"  # one of the codes of R4's value set observation-status


@pytest.mark.parametrize("form", ["csv", "fhir"])
def test_traces_that_contradict_each_other_stay_apart(folder, tmp_path, form):
    folder.steady_glucose(hours=30).write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    rows = (folder.path / "glucose.csv").read_text().splitlines()
    other = [f"{row[:16]}:30,{int(row[17:]) + 60}" for row in rows[100:201]]
    folder.write("glucose-b.csv", "\n".join([rows[0], *other]))
    client = read_client(folder.path)
    export(client, form, tmp_path / "out")
    again = read_client(tmp_path / "out")
    columns = ["time", "glucose", "left_out"]
    left = client.streams["glucose"]["left_out"] != ""
    assert left.sum() > 200
    pd.testing.assert_frame_equal(
        client.streams["glucose"][columns], again.streams["glucose"][columns]
    )


def test_without_a_zone_csv_only(folder, tmp_path):
    folder.steady_glucose()
    client = read_client(folder.path)
    with pytest.raises(MinerError, match="no time zone"):
        export(client, "fhir", tmp_path / "out")
    assert not (tmp_path / "out").exists()
    export(client, "csv", tmp_path / "out")
    again = read_client(tmp_path / "out")
    assert again.streams["glucose"]["time"].equals(client.streams["glucose"]["time"])


def test_a_folder_with_something_in_it_is_left_alone(client, tmp_path):
    (tmp_path / "mine.txt").write_text("x")
    with pytest.raises(MinerError, match="something of that name"):
        export(client, "csv", tmp_path)
    with pytest.raises(MinerError, match="something of that name"):
        export(client, "csv", tmp_path / "mine.txt")
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_the_hour_that_came_twice_comes_twice(folder, tmp_path):
    # Lisbon, 25 October 2026: at 02:00 the clock was set back to 01:00
    times = pd.date_range("2026-10-25 00:00", periods=48, freq="5min", tz="UTC")
    local = times.tz_convert("Europe/Lisbon")
    folder.glucose(*(f"{t.isoformat()},{100 + i}" for i, t in enumerate(local)))
    folder.write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    client = read_client(folder.path)
    for form in ("csv", "fhir"):
        export(client, form, tmp_path / form)
        glucose = read_client(tmp_path / form).streams["glucose"]
        assert glucose["time"].tolist() == times.tz_localize(None).tolist()
        assert glucose["clock"].tolist() == local.tz_localize(None).tolist()


def test_when_the_tracker_measured_goes_along(folder, tmp_path):
    folder.steady_glucose().write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    folder.write("s.csv", "t,l\n" + "".join(f"2026-03-02T{h:02d}:00,{h}\n" for h in range(24)))
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "s.csv"\nstream = "stress"\n[source.columns]\ntime = "t"\n'
        '[source.episodes]\ncolumn = "l"\nat_least = 20\n',
    )
    client = read_client(folder.path)
    _, notes = export(client, "csv", tmp_path / "out")
    again = read_client(tmp_path / "out")
    assert not notes
    assert len(client.worn["stress"]) == 1
    pd.testing.assert_frame_equal(client.worn["stress"], again.worn["stress"])
    assert not [item for item in again.findings if "worn" in (item.file or "")]
    _, notes = export(client, "fhir", tmp_path / "fhir")
    assert "do not say when the tracker measured stress" in str(notes[0])


def test_wear_longer_than_a_day_is_one_interval_and_one_that_ends_before_it_begins_is_told(folder):
    folder.steady_glucose(hours=72)
    folder.write(
        "w.csv", "on,off\n2026-03-02T08:00,2026-03-04T20:00\n2026-03-05T08:00,2026-03-05T07:00\n"
    )
    folder.write("stress.csv", "start,end\n2026-03-03T09:00,2026-03-03T10:00\n")
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "w.csv"\nstream = "stress"\nworn = true\n'
        '[source.columns]\nstart = "on"\nend = "off"\n',
    )
    client = read_client(folder.path)
    (worn,) = client.worn["stress"].itertuples(index=False)
    assert (worn.start, worn.end) == (pd.Timestamp("2026-03-02T08"), pd.Timestamp("2026-03-04T20"))
    assert len(client.used("stress")) == 1
    assert "1 period of wear without an end after the start" in [f.what for f in client.findings]


@pytest.mark.parametrize(
    ("entry", "why"),
    [
        (
            'stream = "glucose"\nworn = true\n[source.columns]\ntime = "t"\nglucose_mg_dl = "v"',
            "no 'worn'",
        ),
        ('stream = "stress"\nworn = true\n[source.columns]\nstart = "t"', "end or duration"),
    ],
)
def test_worn_needs_a_stream_of_intervals(folder, entry, why):
    folder.steady_glucose().write("w.csv", "t,v\n")
    folder.write("sources.toml", f'[[source]]\nfile = "w.csv"\n{entry}\n')
    with pytest.raises(MinerError, match=why):
        read_client(folder.path)


WIDE = "\N{FULLWIDTH EQUALS SIGN}1+1"
WRITTEN = ("=cmd|' /C calc'!A0", "+1+1", "-2+3", "@SUM(1)", WIDE, "'=1", "''x", "'twas", "- rice")


def test_no_exported_cell_is_a_formula_and_each_reads_back(tmp_path):
    """What a spreadsheet runs. Source: OWASP, CSV Injection (community page)."""
    folder = tmp_path / "client-01"
    folder.mkdir()
    (folder / "glucose.csv").write_text(
        "time,glucose_mg_dl,sensor\n2026-01-05T08:00,100,=1+1\n2026-01-05T08:05,101,+A\n"
    )
    lines = [f'2026-01-05T0{at}:00,"{text}"' for at, text in enumerate(WRITTEN)]
    for stream, column in (("meals", "label"), ("tags", "tag")):
        path = folder / f"{stream}.csv"
        path.write_text("\n".join([f"time,{column}", *lines, ""]), encoding="utf-8")
    walk = "start,end,kind\n2026-01-05T08:00,2026-01-05T09:00,@walk\n"
    (folder / "activity.csv").write_text(walk)
    before = read_client(folder)
    assert before.streams["meals"]["label"].tolist()[:5] == list(WRITTEN[:5])
    export(before, "csv", tmp_path / "out")
    for path in (tmp_path / "out").glob("*.csv"):
        for row in csv.reader(path.read_text("utf-8").splitlines()):
            assert not [cell for cell in row if cell[:1] in ("=", "+", "-", "@", WIDE[0])]
    again = read_client(tmp_path / "out")
    for stream, column in (
        ("meals", "label"),
        ("tags", "tag"),
        ("activity", "kind"),
        ("glucose", "sensor"),
    ):
        assert before.streams[stream][column].tolist() == again.streams[stream][column].tolist()
