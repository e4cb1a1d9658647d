"""Files whose values are known, changed as exports go wrong: none is read wrongly without a word.

The files and the ways are those of ``benchmarks/silent_reading.py``, which reads ten thousand.
"""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.silent.files import STYLES, make_client
from benchmarks.silent.judging import read, verdict
from benchmarks.silent.way import ALL, Mutation, mutate
from benchmarks.silent_reading import changed_file, false_alarms, known

SEEN = [place for place, way in enumerate(ALL) if not way.unseen]


def named(name: str) -> Mutation:
    return next(way for way in ALL if way.name == name)


def not_silent(number: int) -> None:
    while (case := changed_file(number)) is None:  # another client, changed in the same way
        number += len(ALL)
    assert case.found != "silent", case


@pytest.mark.parametrize("number", SEEN[::7])
def test_a_changed_file_is_read_right_or_the_change_is_named(number):
    not_silent(number)


@pytest.mark.prove
@pytest.mark.parametrize("number", [at + again * len(ALL) for again in (1, 2) for at in SEEN])
def test_files_changed_in_each_way_are_read_right_or_the_change_is_named(number):
    not_silent(number)


@pytest.mark.parametrize("seeds", [[1], pytest.param(range(2, 42), marks=pytest.mark.prove)])
def test_nothing_of_the_kind_is_said_of_files_that_were_not_changed(seeds):
    assert false_alarms(seeds) == []


def test_a_file_that_is_read_wrongly_without_a_word_is_called_silent():
    declared, right = known(1, 0)
    unseen = named("deep and dream sleep change places")
    changed = mutate(declared, unseen, "sleep", np.random.default_rng(1))
    assert verdict(right, read(changed, declared), "sleep", unseen.says)[0] == "silent"


def test_a_finding_that_names_another_stream_or_kind_of_fault_does_not_count():
    declared, right = known(1, 0)
    unit = named("all readings in the other unit")
    found = read(mutate(declared, unit, "glucose", np.random.default_rng(1)), declared)
    assert verdict(right, found, "glucose", unit.says)[0] in ("told", "refused")
    assert verdict(right, found, "glucose", "offset")[0] == "silent"


def test_a_file_in_other_bytes_with_the_same_values_is_read_right():
    files = make_client(2, STYLES[0], molar=False)
    reversed_rows = {**files, "meals": files["meals"].copy(rows=files["meals"].rows[::-1])}
    assert verdict(read(files, files), read(reversed_rows, files), "meals", ".") == ("right", "")
