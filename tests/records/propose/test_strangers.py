"""Folders of strangers come to records by proposals alone, and what is read is what is known.

The weeks are made by ``benchmarks/strangers.py``; what is read is held against them value by value.
"""

from datetime import timedelta

import numpy as np
import pytest

from benchmarks.strangers import FOLDERS, weeks
from miner.records import read_client
from miner.steps.mapping import map_file

KNOWN = weeks()


@pytest.fixture(scope="module", params=sorted(FOLDERS))
def stranger(request, tmp_path_factory):
    """A folder of files that nobody has mapped, with --write for each of them."""
    folder = tmp_path_factory.mktemp("practice") / request.param
    folder.mkdir()
    streams = FOLDERS[request.param](folder, KNOWN)
    for path in sorted(folder.iterdir()):
        map_file(path, write=True)
    return request.param, streams, read_client(folder)


def test_the_streams_are_those_that_are_there(stranger):
    name, streams, client = stranger
    assert {each for each, frame in client.streams.items() if len(frame)} == streams, name


def test_readings_are_those_that_were_written(stranger):
    _, _, client = stranger
    frame = client.streams["glucose"]
    assert frame["clock"].tolist() == KNOWN.glucose["clock"].tolist()
    # 180.156 g/mol, abridged IUPAC standard atomic weights; half a unit where mg/dL are whole
    np.testing.assert_allclose(frame["glucose"], KNOWN.glucose["mmol"] * 18.0156, atol=0.51)
    if (frame["sensor"] != "").any():
        assert frame["sensor"].tolist() == KNOWN.glucose["sensor"].tolist()


def test_nights_are_those_that_were_written(stranger):
    name, streams, client = stranger
    if "sleep" not in streams:
        return
    frame, nights = client.used("sleep"), KNOWN.nights
    assert frame["start_clock"].tolist() == nights["start"].tolist()
    assert frame["end_clock"].tolist() == nights["end"].tolist()
    rem = 0 if name == "zipped" else nights["rem"]  # it is not in that file
    asleep = nights["deep"] + nights["light"] + rem if name == "zipped" else nights["asleep"]
    if frame["asleep_min"].notna().any():
        np.testing.assert_allclose(frame["asleep_min"], asleep, atol=0.01)


def test_meals_are_those_that_were_written(stranger):
    _, streams, client = stranger
    if "meals" not in streams:
        return
    frame = client.used("meals")
    known = KNOWN.meals
    if len(frame) < len(known):
        known = known[known["which"] != "correction"]
    assert frame["clock"].tolist() == known["clock"].tolist()
    assert [label.replace(",", "") for label in frame["label"]] == [
        label.replace(",", "") for label in known["label"]
    ]
    if frame["carbs_g"].notna().any():
        assert frame["carbs_g"].tolist() == known["carbs"].tolist()
    if (frame["meal"] != "").any():
        assert frame["meal"].tolist() == known["which"].replace("correction", "not_food").tolist()


def test_movement_is_what_was_written(stranger):
    _, streams, client = stranger
    if "activity" not in streams:
        return
    frame, blocks = client.streams["activity"], KNOWN.blocks
    assert frame["start_clock"].tolist() == blocks["start"].tolist()
    assert (frame["end_clock"] - frame["start_clock"]).unique().tolist() == [timedelta(minutes=15)]
    assert frame["steps"].tolist() == blocks["steps"].tolist()
    if frame["active_min"].notna().any():
        assert frame["active_min"].tolist() == blocks["moving"].tolist()
    worn = client.worn["activity"]
    assert (worn["end"] - worn["start"]).sum() == timedelta(minutes=15 * len(blocks))


def test_stress_in_words_counts_where_the_level_is_in_the_upper_quarter(stranger):
    """Runs of the words that count, joined over one quarter of an hour, counted by hand."""
    _, streams, client = stranger
    if "stress" not in streams:
        return
    level = KNOWN.stress["level"].to_numpy()
    counts = level >= np.percentile(level, 75)
    inside = counts.copy()
    inside[1:-1] |= counts[:-2] & counts[2:]
    begins = inside & ~np.concatenate([[False], inside[:-1]])
    frame = client.streams["stress"]
    assert frame["start_clock"].tolist() == KNOWN.stress["start"][begins].tolist()
    assert (frame["end"] - frame["start"]).sum() == timedelta(minutes=15 * int(inside.sum()))
