"""Entries that are written again, taken back, or refused; everything else in the file stays."""

import tomllib

import pytest

from miner.core.messages import MinerError
from miner.records import read_client
from miner.records.propose.exports import read_exports
from miner.records.propose.notes import Notes, typed
from miner.records.propose.saved import BEFORE, as_toml, put_entries, take_back
from miner.steps.mapping import map_file, undo_mapping
from miner.words.map import loss_text

MINE = """\
# How the files of this client are read.

[[source]]
file = "a.csv"  # the sensor
stream = "tags"
[source.columns]
time = "when"
tag = "glucose"

# Kept by hand.
[[source]]
file = "b*.csv"
stream = "tags"
[source.columns]
time = "t"
tag = "g"
# the last line
"""


def readings(
    header: str = "when,glucose", days: str = "2026-03-{day:02d}", shown: str = "101"
) -> str:
    rows = [
        f"{days.format(day=day)} {hour:02d}:00,{shown}" for day in (2, 3, 4) for hour in range(24)
    ]
    return "\n".join([header, *rows]) + "\n"


def test_saving_again_replaces_and_the_rest_stays(folder):
    path = folder.path / "sources.toml"
    path.write_text(MINE)
    folder.write("a.csv", readings())
    assert map_file(folder.path / "a.csv", write=True).replaced == 1
    text = path.read_text()
    first, second = tomllib.loads(text)["source"]
    assert (first["file"], first["stream"]) == ("a.csv", "glucose")
    assert second == tomllib.loads(MINE)["source"][1]
    for line in ("# How the files of this client are read.", "# Kept by hand.", "# the last line"):
        assert line in text
    assert "# the sensor" in (folder.path / BEFORE).read_text()


def test_the_last_one_is_taken_back_and_put_again(folder):
    path = folder.path / "sources.toml"
    path.write_text(MINE)
    folder.write("a.csv", readings())
    map_file(folder.path / "a.csv", write=True)
    written = path.read_text()
    assert undo_mapping(folder.path / "a.csv") == ("client-01/sources.toml", 1)
    assert path.read_text() == MINE
    undo_mapping(folder.path / "a.csv")
    assert path.read_text() == written


def test_the_first_entry_of_a_file_is_taken_back_to_none(folder):
    folder.write("a.csv", readings())
    map_file(folder.path / "a.csv", write=True)
    assert undo_mapping(folder.path / "a.csv")[1] == 0
    assert (folder.path / "sources.toml").read_text() == ""
    with pytest.raises(MinerError, match="there is no entry for this file"):
        undo_mapping(folder.path / "other.csv")


def test_a_pattern_that_reads_the_file_stays_the_pattern(folder):
    (folder.path / "sources.toml").write_text(MINE)
    folder.write("b 1.csv", readings())
    folder.write("b 2.csv", readings().replace("2026-03", "2026-04"))
    found = map_file(folder.path / "b 1.csv", write=True)
    assert found.proposals[0].entry["file"] == "b*.csv"
    (folder.path / "a.csv").write_text("when,glucose\n2026-03-02,x\n")
    assert len(read_client(folder.path).used("glucose")) == 2 * 72


def test_the_clients_own_entry_reads_a_file_in_place_of_the_practices(folder):
    shared = folder.path.parent / "sources.toml"
    shared.write_text('[[source]]\nfile = "sens*.csv"\nstream = "glucose"\n'
                      'columns = {time = "when", glucose_mg_dl = "glucose"}\n')  # fmt: skip
    folder.write("sensor.csv", readings())
    map_file(folder.path / "sensor.csv", write=True)
    client = read_client(folder.path)
    assert len(client.used("glucose")) == 72
    assert not [item for item in client.findings if "again" in item.what]


def test_entries_in_one_line_are_left_alone(folder):
    path = folder.path / "sources.toml"
    held = 'source = [{file = "x.csv", stream = "tags", columns = {time = "a", tag = "b"}}]\n'
    path.write_text(held)
    with pytest.raises(MinerError, match="not written as a table each"):
        put_entries(path, "a.csv", "")
    assert path.read_text() == held


@pytest.mark.parametrize("name", ['a"""b.csv', "a\\b.csv", "a'b.csv"])
def test_any_name_comes_back_from_what_is_kept(tmp_path, name):
    path = tmp_path / "sources.toml"
    entry = {"file": name, "stream": "tags", "columns": {"time": '"""', "tag": "\\"}}
    put_entries(path, name, as_toml(entry))
    put_entries(path, name, as_toml(entry | {"skip_rows": 1}))
    assert take_back(path, name) == 1
    assert tomllib.loads(path.read_text())["source"] == [entry]


def test_a_choice_that_breaks_most_rows_is_refused_and_the_other_order_named(folder):
    """13 to 31 March cannot be months; every row but those of the first twelve days is lost."""
    rows = [f"{day:02d}/03/2026 {hour:02d}:00,101" for day in range(1, 32) for hour in range(24)]
    folder.write("s.csv", "\n".join(["when,glucose", *rows]))
    with pytest.raises(MinerError, match=r'456 of 744 rows.*--set "time_format=%d/%m/%Y'):
        map_file(folder.path / "s.csv", answers={"time_format": "%m/%d/%Y %H:%M"}, write=True)
    assert not (folder.path / "sources.toml").exists()


def test_a_loss_of_more_than_a_tenth_is_told_first(folder):
    rows = [
        f"2026-03-{d:02d} {h:02d}:00,{'x' if h < 4 else 101}" for d in (2, 3) for h in range(24)
    ]
    folder.write("s.csv", "\n".join(["when,glucose", *rows]))
    (loss,) = map_file(folder.path / "s.csv").proposals[0].losses
    assert (loss.count, loss.rows, loss.breaks, loss.few) == (8, 48, False, False)


def test_a_smaller_loss_is_reported_with_its_first_row_and_without_a_warning(folder):
    rows = [
        f"2026-03-{d:02d} {h:02d}:00,{'X' if h == 3 else 101}" for d in (2, 3) for h in range(24)
    ]
    folder.write("s.csv", "\n".join(["when,glucose", *rows]))
    found = map_file(folder.path / "s.csv")
    (loss,) = found.proposals[0].losses
    assert (loss.count, loss.few, loss.row) == (2, True, 5)
    told = loss_text(loss)
    assert told.startswith("2 of 48 rows would be left out")
    assert "in 'glucose' that cannot be read as a number ('X')" in told.replace(
        "of 'glu", "in 'glu"
    )


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({"stream": "glucos"}, "Did you mean 'glucose'"),
        ({"columns.time": "wen"}, "columns.time"),
        ({"episodes.at_least": "much"}, "a number"),
        ({"colums.time": "when"}, "colums"),
        ({"decimal": "x"}, "decimal"),
        ({"columns.sensor": "nothing"}, "there is no column 'nothing'"),
    ],
)
def test_an_answer_that_cannot_be_used_is_told(folder, answers, said):
    folder.write("s.csv", readings())
    with pytest.raises(MinerError) as caught:
        map_file(folder.path / "s.csv", answers=answers, write=True)
    assert said in caught.value.message
    assert not (folder.path / "sources.toml").exists()


def test_what_was_answered_is_typed_as_toml_holds_it():
    assert typed("skip_rows", "3") == 3
    assert typed("episodes.at_least", "2,5") == 2.5
    assert typed("not_measured", "??, 5,l") == ["??", "5", "l"]
    assert typed("where.Kind", "walk") == ["walk"]
    assert typed("delimiter", "tab") == "\t"
    notes = Notes(read_exports(None), {"where.a.b": "x"})
    notes.finish()
    assert notes.table() == {"where": {"a.b": ["x"]}}
