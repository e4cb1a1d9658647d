"""Years that nanoseconds do not hold: told as they are written, never read as another year."""

import numpy as np
import pandas as pd
import pytest

from miner.core.messages import MinerError
from miner.core.results import Severity
from miner.records import read_client
from miner.records.place.times import read_times


def test_a_year_out_of_reach_is_told_as_written(folder):
    good = [f"2026-08-21T{hour:02d}:00:00,100" for hour in range(24)]
    folder.glucose(*good, "2610-08-21T02:34:33,300", "9999-12-31T23:55:00,111")
    client = read_client(folder.path)
    assert len(client.streams["glucose"]) == 24
    (told,) = [item for item in client.findings if item.severity is Severity.LEFT_OUT]
    assert told.count == 2
    assert told.row == 26
    assert "'2610-08-21T02:34:33', '9999-12-31T23:55:00'" in told.what
    assert "1900 to 2200" in told.expected


@pytest.mark.parametrize("rows", [1, 2, 12])
def test_a_file_of_the_year_9999_says_so(folder, rows):
    folder.glucose(*(f"9999-12-31T{hour:02d}:55,111" for hour in range(rows)))
    try:
        client = read_client(folder.path)
    except MinerError as error:
        said = error.message
    else:
        assert client.streams["glucose"].empty
        first = client.findings[0]
        assert first.severity is Severity.STOP
        said = f"row {first.row}: {first.what}"
    assert "row 2: " in said
    assert "9999-12-31T00:55" in said


@pytest.mark.parametrize("layout", [None, "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M%z"])
@pytest.mark.parametrize("year", ["0001", "1677", "1899", "2201", "2262", "2610", "9999"])
def test_no_layout_lets_a_year_wrap_around(layout, year):
    end = "+01:00" if layout and "%z" in layout else ""
    text = pd.Series([f"{year}-06-01T08:00{end}", f"2026-06-01T08:00{end}"], dtype="str")
    times = read_times(text, layout, "Europe/Lisbon")
    assert times.bad.tolist() == [True, False]
    assert times.clock[1] == np.datetime64("2026-06-01T08:00")
