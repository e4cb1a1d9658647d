"""A glucose column whose unit is not one, or not the one it is said to be."""

import pytest

from miner.core.results import Severity
from miner.records import read_client


def read(folder, values, header="time,glucose_mg_dl"):
    rows = (f"2026-03-02T{8 + at // 60:02d}:{at % 60:02d},{v}" for at, v in enumerate(values))
    folder.glucose(*rows, header=header)
    return read_client(folder.path)


def told(client, words):
    return [item for item in client.findings if words in item.what]


def test_values_in_mmol_among_mg_dl_are_suspected_with_their_rows(folder):
    values = [100, 104, 5.4, 108, 6.1, 110, 7.2, 101, 0, 18.5, 5.5, 5.6, -4, 102, 103, 99, 98]
    client = read(folder, values)
    (found,) = told(client, "as if they were in mmol/L")
    assert found.severity == Severity.QUESTION
    assert "(rows 4, 6, 8, 11, 12 and 1 more)" in found.what
    assert "5.4, 6.1, 7.2" in found.what
    assert (found.count, found.row) == (6, 4)
    assert "mmol/L" in found.do
    assert client.used("glucose")["glucose"].min() == 98
    (odd,) = [item for item in told(client, "any possible range") if item is not found]
    assert (odd.count, odd.severity) == (2, Severity.LEFT_OUT)
    assert "mmol/L" not in odd.what + odd.do


def test_values_in_mg_dl_among_mmol_are_suspected(folder):
    client = read(folder, [5.4, 104, 5.5, 110, 5.6, 5.8, 6.0], "time,glucose_mmol_l")
    (found,) = told(client, "as if they were in mg/dL (rows 3, 5)")
    assert (found.count, found.row) == (2, 3)
    assert len(client.used("glucose")) == 5


def test_most_in_the_other_unit_stops_and_says_that_some_are_not(folder):
    client = read(folder, [5.4, 5.5, 5.6, 5.7, 5.8, 104, 110])
    (found,) = told(client, "which cannot be mg/dL")
    assert found.severity == Severity.STOP
    assert "2 others may be mg/dL all the same (rows 7, 8)" in found.what


@pytest.mark.parametrize("strange", [[0] * 9, [-1] * 9, [0, -3] * 5, [19] * 2, [601, 700]])
def test_zeros_negatives_and_what_is_just_too_low_suggest_no_other_unit(folder, strange):
    client = read(folder, [*strange, 100, 104, 108])
    for item in told(client, "any possible range"):
        assert "mmol" not in item.what + item.do + item.expected
    assert told(client, "any possible range")[0].count == len(strange)
    assert len(client.used("glucose")) == 3
    assert not told(client, "which cannot be")


def test_zeros_alone_are_no_unit(folder):
    client = read(folder, [0] * 12)
    assert client.used("glucose").empty
    assert not told(client, "mmol")
