"""The short cut for long plain files reads what the long way reads, or steps aside."""

from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from miner.records import read_client
from miner.records.fixed_times import fixed_times
from miner.records.plausible import _share_below

moments = st.datetimes(datetime(1950, 1, 1), datetime(2199, 12, 31))


@settings(max_examples=200, derandomize=True, deadline=None, phases=[Phase.generate])
@given(
    times=st.lists(moments, min_size=1, max_size=12),
    mark=st.sampled_from("T "),
    seconds=st.booleans(),
    cells=st.integers(1, 3),
    ended=st.booleans(),
)
def test_any_times_of_one_layout(times, mark, seconds, cells, ended):
    unit = "seconds" if seconds else "minutes"
    written = [time.isoformat(mark, unit) for time in times]
    rows = [";".join([text, *(["5,4"] * cells)]) for text in written]
    body = "\n".join(rows) + ("\n" if ended else "")
    found = fixed_times(body.encode(), ";", cells + 1)
    expected = np.array([text.replace(" ", "T") for text in written], dtype="datetime64[ns]")
    np.testing.assert_array_equal(found.times, expected)
    assert found.text().tolist() == written


@pytest.mark.parametrize(
    "odd",
    [
        "2026-02-29T08:00,1",
        "2026-13-01T08:00,1",
        "2026-00-01T08:00,1",
        "2026-01-00T08:00,1",
        "2026-01-01T24:00,1",
        "2026-01-01T08:60,1",
        "2026-01-01x08:00,1",
        "2026-01-01 08:00,1",
        "2026/01/01T08:00,1",
        "2026-01-01T08.00,1",
        "2026-01-01T08:0o,1",
        "2026-01-01T08+01,1",
        "0001-01-01T08:00,1",
        "2026-01-01T08:00:00,1",
        "2026-01-01T08:00,1,1",
        "2026-01-01T08:00",
        "2026-01-01T8:00 ,1",
        '"026-01-01T08:00",1',
        "2026-01-01,1",
        "now,1",
        ",1",
        "",
    ],
)
@pytest.mark.parametrize("place", [0, 1, 2])
def test_one_row_laid_out_otherwise_sends_the_file_the_long_way(odd, place):
    rows = ["2026-01-01T08:00,1", "2026-01-01T08:05,2"]
    rows.insert(place, odd)
    if odd == "2026-01-01T08:00:00,1" and place == 0:
        rows = [odd, "2026-01-01T08:05,2"]
    assert fixed_times("\n".join(rows).encode() + b"\n", ",", 2) is None


def test_counts_of_marks_that_even_out_are_seen():
    body = b"2026-01-01T08:00,1,2\n2026-01-01T08:05,1\n2026-01-01T08:10,1,2,3\n"
    assert fixed_times(body, ",", 3) is None


@settings(max_examples=150, derandomize=True, deadline=None, phases=[Phase.generate])
@given(
    minutes=st.lists(st.integers(0, 40_000), min_size=1, max_size=30),
    values=st.lists(st.sampled_from(["100", "101.5", "", "19", "700", "inf"]), min_size=1),
    zone=st.sampled_from([None, "Europe/Lisbon"]),
    sensor=st.booleans(),
)
def test_both_ways_read_the_same(tmp_path_factory, minutes, values, zone, sensor):
    start = pd.Timestamp("2026-03-20")
    rows = [
        f"{start + pd.Timedelta(minutes=m):%Y-%m-%dT%H:%M},{values[k % len(values)]}"
        + (f",S{m % 2}" if sensor else "")
        for k, m in enumerate(minutes)
    ]
    rows.append("2026-04-20T08:00,100" + (",S1" if sensor else ""))
    header = "time,glucose_mg_dl" + (",sensor" if sensor else "")
    read = []
    for quote in ("", '"'):
        folder = tmp_path_factory.mktemp("ways")
        first = quote + rows[0].replace(",", f"{quote},", 1)
        (folder / "glucose.csv").write_text("\n".join([header, first, *rows[1:]]) + "\n")
        if zone:
            (folder / "client.toml").write_text(f'time_zone = "{zone}"\n')
        read.append(read_client(folder))
    pd.testing.assert_frame_equal(read[0].streams["glucose"], read[1].streams["glucose"])
    assert read[0].findings == read[1].findings


@pytest.mark.parametrize("seed", range(50))
def test_the_usual_span_is_the_ordinary_quantile(seed):
    generator = np.random.default_rng(seed)
    days = generator.integers(0, 40_000, generator.integers(1, 60))
    for share in (0.1, 0.9):
        counts = np.cumsum(np.bincount(days))
        assert _share_below(counts, share) == pytest.approx(np.percentile(days, 100 * share))
