"""Corrections stand in place of raw rows, which stay; what no longer fits is void and reported."""

import csv
import hashlib
import re
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.core.files import plain_cell, safe_cell
from miner.core.messages import MinerError
from miner.core.results import Severity
from miner.records import read_client
from miner.records.findings import Findings
from miner.records.stream_file import read_added
from miner.records.write.corrections import (
    HEADER,
    NAME,
    Correction,
    correct,
    not_taken_back,
    read_corrections,
    standing,
    with_one_more,
)
from miner.records.write.entering import DiaryEntry, addition, mending, removal

# OWASP, "CSV injection": a cell that begins with one of these may be taken for a formula.
FORMULA = re.compile(r"[=+\-@\t\r]")
NOW = "2026-03-09T10:00:00+00:00"
MEALS = (
    "time,label,carbs_g\n2026-03-02T08:00,porridge,40\n2026-03-02T13:06,pasta,700\n"
    "2026-03-02T19:00,rice,45\n"
)


@pytest.fixture
def client(folder):
    """A client with two days of readings, three meals (one of 700 g) and a tag."""
    folder.steady_glucose(hours=48)
    folder.write("meals.csv", MEALS)
    folder.write("tags.csv", "time,tag\n2026-03-02T21:00,wine\n")
    return folder


def note(folder, make, *said):
    """Write one correction as the commands do; return the row."""
    path = folder.path / NAME
    item = make(read_client(folder.path), *said, NOW)
    raw, row = with_one_more(path.read_bytes() if path.exists() else b"", item)
    path.write_bytes(raw)
    return row


def undo(folder, row, stream="meals"):
    path = folder.path / NAME
    raw, line = with_one_more(path.read_bytes(), Correction(0, NOW, stream, (NAME, row), {}, {}))
    path.write_bytes(raw)
    return line


def meals(folder):
    frame = read_client(folder.path).used("meals")
    clock = frame["clock"].dt.strftime("%d %H:%M")
    return list(zip(clock, frame["label"], frame["carbs_g"], strict=True))


def told(folder, severity):
    found = read_client(folder.path).findings
    return [item for item in found if item.file == NAME and item.severity is severity]


def test_the_three_common_corrections_are_read_and_raw_files_stay(client):
    raw = {path.name: hashlib.sha256(path.read_bytes()).digest() for path in client.path.iterdir()}
    note(
        client, addition,
        DiaryEntry("meals", "2026-03-03 19:30", values={"label": "pasta", "carbs_g": "70"}),
    )  # fmt: skip
    note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    note(client, addition, DiaryEntry("tags", "2026-03-03", values={"tag": "Red  Wine"}))
    assert meals(client) == [
        ("02 08:00", "porridge", 40), ("02 13:06", "pasta", 70), ("02 19:00", "rice", 45),
        ("03 19:30", "pasta", 70),
    ]  # fmt: skip
    read = read_client(client.path)
    tags = read.used("tags")
    assert tags["tag"].tolist() == ["wine", "red wine"]
    assert tags["start_clock"].dt.strftime("%d %H:%M").tolist() == ["02 21:00", "03 12:00"]
    places = list(zip(read.used("meals")["file"], read.used("meals")["row"], strict=True))
    assert places == [("meals.csv", 2), (NAME, 3), ("meals.csv", 4), (NAME, 2)]
    assert read.replaced == {(NAME, 3): ("meals.csv", 3)}
    (said,) = told(client, Severity.NOTE)
    assert said.what == "records that you corrected (2 added, 1 changed)"
    assert {name: hashlib.sha256((client.path / name).read_bytes()).digest() for name in raw} == raw


def test_a_record_is_taken_out_and_comes_back(client):
    row = note(client, removal, "2026-03-02 13:06")
    assert [label for _, label, _ in meals(client)] == ["porridge", "rice"]
    undo(client, row)
    assert meals(client)[1] == ("02 13:06", "pasta", 700)


def test_a_correction_of_a_changed_row_is_void_and_reported(client):
    note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    client.write("meals.csv", MEALS.replace("pasta,700", "pasta,75"))
    assert meals(client)[1] == ("02 13:06", "pasta", 75)
    (void,) = told(client, Severity.QUESTION)
    assert (void.row, "no longer counts" in void.what, "row 3 of meals.csv" in void.what) == (
        2,
        True,
        True,
    )
    client.write("meals.csv", MEALS)
    assert meals(client)[1] == ("02 13:06", "pasta", 70)
    assert told(client, Severity.QUESTION) == []


def test_another_reading_of_the_row_makes_it_void_too(client):
    note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    client.write("meals.csv", MEALS.replace("carbs_g", "protein_g"))
    assert len(told(client, Severity.QUESTION)) == 1
    assert read_client(client.path).used("meals")["protein_g"].tolist() == [40, 700, 45]


def test_a_correction_follows_its_row_into_a_newer_export(client):
    note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    head, *rows = MEALS.splitlines()
    client.write("meals.csv", "\n".join([head, "2026-03-03T08:00,toast,30", *rows]) + "\n")
    assert ("02 13:06", "pasta", 70) in meals(client)
    assert ("02 13:06", "pasta", 700) not in meals(client)
    assert read_client(client.path).replaced == {(NAME, 2): ("meals.csv", 4)}
    assert any("has moved" in item.what for item in told(client, Severity.NOTE))


@pytest.mark.parametrize("name", ["meals-2.csv", "meals-.csv"])
def test_a_copy_in_a_file_that_overlaps_does_not_bring_the_old_value_back(client, name):
    note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    client.write(name, MEALS + "2026-03-03T08:00,toast,30\n")
    assert [carbs for _, label, carbs in meals(client) if label == "pasta"] == [70]


def test_an_added_record_that_the_files_bring_later_counts_once(client):
    said = {"label": "toast", "carbs_g": "30"}
    note(client, addition, DiaryEntry("meals", "2026-03-03 08:00", values=said))
    client.write("meals.csv", MEALS + "2026-03-03T08:00,toast,30\n")
    assert [label for _, label, _ in meals(client)].count("toast") == 1
    assert any("counted once" in item.what for item in told(client, Severity.NOTE))


def test_an_added_meal_close_to_another_is_reported(client):
    said = {"label": "bread", "carbs_g": "30"}
    note(client, addition, DiaryEntry("meals", "2026-03-02 19:10", values=said))
    assert any("within 15 minutes" in item.what for item in told(client, Severity.NOTE))


def test_the_hash_of_the_records_knows_what_is_in_force_and_nothing_else(client):
    before = read_client(client.path).records_hash
    row = note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    corrected = read_client(client.path).records_hash
    assert corrected != before
    undo(client, row)
    assert read_client(client.path).records_hash == before
    note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    assert read_client(client.path).records_hash == corrected


def test_a_later_correction_of_the_same_record_holds(client):
    first = note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    second = note(client, mending, "meals.csv:3", DiaryEntry("meals", values={"carbs_g": "60"}))
    assert meals(client)[1][2] == 60
    assert read_client(client.path).replaced == {(NAME, second): ("meals.csv", 3)}
    undo(client, second)
    assert meals(client)[1][2] == 70
    undo(client, first)
    assert meals(client)[1][2] == 700


def test_what_was_added_is_mended_and_taken_out(client):
    said = {"label": "toast", "carbs_g": "30"}
    first = note(client, addition, DiaryEntry("meals", "2026-03-03 08:00", values=said))
    note(client, mending, "2026-03-03 08:00", DiaryEntry("meals", "2026-03-03 08:30"))
    assert meals(client)[-1] == ("03 08:30", "toast", 30)
    note(client, mending, "2026-03-03 08:30", DiaryEntry("meals", values={"carbs_g": "25"}))
    assert meals(client)[-1] == ("03 08:30", "toast", 25)
    assert read_client(client.path).replaced == {}
    note(client, removal, "2026-03-03 08:30")
    assert len(meals(client)) == 3
    held = read_corrections(client.path, Findings())
    assert first not in {item.row for item in not_taken_back(held)}


def test_a_file_of_corrections_is_read_by_no_mapping(client):
    (client.path / "meals.csv").rename(client.path / "log.csv")
    client.write(
        "sources.toml",
        '[[source]]\nfile = "[clt]*.csv"\nstream = "meals"\n'
        'columns = {time = "time", label = "label", carbs_g = "carbs_g"}\n',
    )
    (client.path / "tags.csv").unlink()
    note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    assert len(meals(client)) == 3


# Cells

WORDS = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\u2028\u2029"),
    min_size=1, max_size=30,
).map(str.strip).filter(bool)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(words=st.one_of(WORDS, st.tuples(st.sampled_from("=+-@'\"';,"), WORDS).map("".join)))
def test_any_words_are_read_back_exactly_and_no_cell_is_run(tmp_path_factory, words):
    folder = tmp_path_factory.mktemp("cells")
    item = Correction(0, NOW, "meals", ("=a.csv", 3), {"label": words}, {"label": words})
    raw, row = with_one_more(b"", item)
    (folder / NAME).write_bytes(raw)
    findings = Findings()
    (back,) = read_corrections(folder, findings)
    assert findings.items == []
    assert (back.values, back.was, back.target, back.row) == (
        {"label": words}, {"label": words}, ("=a.csv", 3), row,
    )  # fmt: skip
    for cells in csv.reader(raw.decode().splitlines(keepends=True)):
        assert [cell for cell in cells if FORMULA.match(cell)] == []


def test_a_cell_typed_by_hand_keeps_its_apostrophe():
    assert plain_cell("'t bread") == "'t bread"
    assert [plain_cell(safe_cell(cell)) for cell in ("'", "''", "'=x", "''=x", "=x")] == [
        "'", "''", "'=x", "''=x", "=x",
    ]  # fmt: skip


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_what_was_typed_into_the_file_stays_as_it_is(end):
    item = Correction(0, NOW, "tags", None, {}, {"start": "2026-03-02T12:00", "tag": "x"})
    typed = end.join(["\ufeffentered,stream,file,row,was,start,tag", "", "now,tags,,,,,odd"])
    raw, row = with_one_more(typed.encode(), item)
    first, *rest = raw.decode().split(end)
    assert set(first.removeprefix("\ufeff").split(",")) == set(HEADER)
    assert rest[:2] == ["", "now,tags,,,,,odd"]
    assert row == 4
    assert raw.decode().endswith(end)


# Bad input


def bad(folder, content, **expected):
    folder.write(NAME, content)
    with pytest.raises(MinerError) as caught:
        read_client(folder.path)
    assert caught.value.file == NAME
    assert caught.value.row == expected["row"]
    assert expected["found"] in caught.value.found
    return caught.value


def test_a_wrong_header_is_reported(client):
    assert (
        "'carbs_g'"
        in bad(
            client, ",".join(HEADER).replace("carbs_g", "carb_g") + "\n", row=1, found="'carb_g'"
        ).do
    )
    bad(client, "entered,stream,file,row,time,label\n", row=1, found="no column 'was'")
    bad(client, ",".join([*HEADER, "label"]), row=1, found="two columns 'label'")
    bad(client, ";".join(HEADER), row=1, found="entered;stream")


def test_what_is_no_text_is_reported(client):
    head = ",".join(HEADER).encode() + b"\n"
    bad(client, head + b"\n\x00", row=3, found="zero byte")
    bad(client, head + b"x,meals,caf\xe9", row=2, found="not UTF-8")
    bad(client, head + b'x,meals,"' + b"a" * 200_000, row=2, found="cannot be read")
    (client.path / NAME).unlink()
    (client.path / NAME).mkdir()
    with pytest.raises(MinerError, match="this is a folder"):
        read_client(client.path)


def test_a_link_is_neither_read_nor_written(client, tmp_path):
    other = tmp_path / "other.csv"
    other.write_text(",".join(HEADER) + "\n")
    (client.path / NAME).symlink_to(other)
    with pytest.raises(MinerError, match="this is a link"):
        read_client(client.path)


@pytest.mark.parametrize(
    ("row", "found"),
    [
        ("now,glucose,,,,,,", "its stream is 'glucose'"),
        ("now,meals,meals.csv,,{},2026-03-02T12:00,x,", "its file and row"),
        ("now,meals,meals.csv,x,{},2026-03-02T12:00,x,", "its file and row"),
        ("now,meals,meals.csv," + "9" * 5000 + ",{},,,", "its file and row"),
        ("now,meals,,,,,,", "neither a row nor a record"),
        ("now,meals,,,,2026-03-02T12:00,x,wine", "meals have no column 'tag'"),
        ("now,meals,meals.csv,3,[1],2026-03-02T12:00,x,", "'was'"),
        ("now,meals,meals.csv,3,,2026-03-02T12:00,x,", "'was'"),
        ("now,meals,corrections.csv,3,,,,", "row 3 is not an earlier correction"),
        ("now,meals,,,,2026-03-02T12:00,x,,y", "more cells"),
        ("2026-03-02;meals;;", "its stream is ''"),
    ],
)
def test_a_row_that_cannot_be_used_is_left_out_and_reported(client, row, found):
    client.write(NAME, f"entered,stream,file,row,was,time,label,tag\n{row}\n")
    (left,) = told(client, Severity.LEFT_OUT)
    assert (left.row, found in left.what) == (2, True), left.what
    assert len(meals(client)) == 3


def test_times_that_a_spreadsheet_rewrote_stop_nothing(client):
    for hour in (8, 12, 16):
        said = {"label": f"bread {hour}"}
        note(client, addition, DiaryEntry("meals", f"2026-03-03 {hour:02d}:00", values=said))
    path = client.path / NAME
    path.write_text(re.sub(r"2026-03-03T(\d\d):00", r"03/03/2026 \1:00", path.read_text()))
    read = read_client(client.path)
    assert [item for item in read.findings if item.severity is Severity.STOP] == []
    assert sum(item.count for item in told(client, Severity.LEFT_OUT)) == 3
    assert len(read.used("meals")) == 3
    path.write_text(path.read_text().replace("03/03/2026 08:00", "2026-03-03T08:00"))
    assert len(meals(client)) == 4


def test_a_mend_that_cannot_be_read_leaves_the_raw_row(client):
    note(client, mending, "2026-03-02 13:06", DiaryEntry("meals", values={"carbs_g": "70"}))
    path = client.path / NAME
    path.write_text(path.read_text().replace("},2026-03-02T13:06", "},2/3/26"))
    path.write_text(path.read_text().replace('}",2026-03-02T13:06', '}",2/3/26'))
    assert meals(client)[1] == ("02 13:06", "pasta", 700)
    assert len(told(client, Severity.LEFT_OUT)) == 1


# What is typed


def refused(folder, make, *said):
    with pytest.raises(MinerError) as caught:
        make(read_client(folder.path), *said, NOW)
    return caught.value


@pytest.mark.parametrize(
    ("at", "found"),
    [
        ("2026-03-03", "not a date with a time of day"),
        ("2026-02-31 12:00", "not a date with a time of day"),
        ("3 March", "not a date with a time of day"),
        ("2025-03-03 12:00", "outside the records"),
        ("2026-03-06 12:00", "outside the records"),
        ("2026-03-03 12:00+01:00", "has a time zone"),
    ],
)
def test_a_time_that_cannot_be_is_refused(client, at, found):
    assert found in refused(client, addition, DiaryEntry("meals", at, values={"label": "x"})).found


@pytest.mark.parametrize(
    ("values", "found"),
    [
        ({"label": "x", "carbs_g": "5000"}, "outside any possible range"),
        ({"label": "x", "carbs_g": "-5"}, "outside any possible range"),
        ({"label": "x", "carbs_g": "ten"}, "cannot be read as a number"),
        ({"label": "x", "meal": "brunch"}, "unknown word"),
        ({"label": "x" * 201}, "201 characters"),
        ({"label": "a\x00b"}, "cannot be printed"),
        ({"label": "a\nb"}, "cannot be printed"),
        ({"label": "  "}, "words that say what it was are missing"),
        ({"carbs_g": "5"}, "the words that say what it was are missing"),
    ],
)
def test_what_cannot_be_said_of_a_meal_is_refused(client, values, found):
    error = refused(client, addition, DiaryEntry("meals", "2026-03-03 12:00", values=values))
    assert found in error.found


def test_an_equal_record_is_not_added_twice(client):
    same = {"label": "pasta", "carbs_g": "700"}
    error = refused(client, addition, DiaryEntry("meals", "2026-03-02 13:06", values=same))
    assert "noted before" in error.found
    assert "meals.csv:3" in error.found
    said = DiaryEntry("meals", "2026-03-02 08:00", values={"label": "porridge", "carbs_g": "40"})
    assert "noted before" in refused(client, mending, "2026-03-02 13:06", said).found


def test_a_mend_that_changes_nothing_is_refused(client):
    error = refused(client, mending, "meals.csv:3", DiaryEntry("meals", values={"carbs_g": "700"}))
    assert "already says this" in error.found


def test_a_record_that_is_not_there_is_refused_with_the_nearest(client):
    error = refused(client, mending, "2026-03-02 13:00", DiaryEntry(values={"label": "x"}))
    assert "2026-03-02 13:06 pasta (meals.csv:3)" in error.do
    assert "no record" in refused(client, removal, "meals.csv:99").found
    assert "does not name a record" in refused(client, removal, "lunch").found
    assert (
        "fits 3 records"
        in refused(client, mending, "2026-03-02", DiaryEntry("meals", values={"label": "x"})).found
    )
    assert "no record '2026-02-31'" in refused(client, removal, "2026-02-31").found


def test_a_tag_has_no_grams(client):
    error = refused(client, mending, "tags.csv:2", DiaryEntry(values={"carbs_g": "5"}))
    assert "have no 'carbs_g'" in error.found


# Clocks: Directive 2000/84/EC, summer time from the last Sunday of March to that of October.


def in_lisbon(folder, start, hours=48):
    folder.steady_glucose(start, hours)
    folder.write("client.toml", 'time_zone = "Europe/Lisbon"\n')
    return folder


def test_a_time_that_no_clock_showed_is_refused(folder):
    in_lisbon(folder, "2026-03-28")
    said = DiaryEntry("meals", "2026-03-29 01:30", values={"label": "x"})
    error = refused(folder, addition, said)
    assert "no clock showed '2026-03-29 01:30'" in error.found


def test_an_hour_that_came_twice_asks_which_and_takes_it(folder):
    in_lisbon(folder, "2026-10-24")
    said = DiaryEntry("meals", "2026-10-25 01:30", values={"label": "x"})
    error = refused(folder, addition, said)
    assert "2026-10-25T01:30+01:00 for the first" in error.expected
    note(folder, addition, DiaryEntry("meals", "2026-10-25T01:30+00:00", values={"label": "x"}))
    (at,) = read_client(folder.path).used("meals")["time"]
    assert str(at) == "2026-10-25 01:30:00"
    assert told(folder, Severity.LEFT_OUT) == []
    note(folder, mending, "2026-10-25 01:30", DiaryEntry(values={"label": "y"}))
    (at,) = read_client(folder.path).used("meals")["time"]
    assert str(at) == "2026-10-25 01:30:00"


def test_a_mend_leaves_the_instant_of_a_record_with_its_own_offset(folder):
    in_lisbon(folder, "2026-03-02")
    folder.write("meals.csv", "time,label\n2026-03-02T20:00+09:00,rice\n")
    before = read_client(folder.path).used("meals")
    note(folder, mending, "meals.csv:2", DiaryEntry(values={"label": "noodles"}))
    after = read_client(folder.path).used("meals")
    assert after["label"].tolist() == ["noodles"]
    for name in ("time", "clock"):
        assert after[name].tolist() == before[name].tolist()


def test_records_with_offsets_alone_lend_theirs(folder):
    folder.glucose(*(f"2026-03-02T{h:02d}:{m:02d}+02:00,100" for h in range(24) for m in (0, 30)))
    note(folder, addition, DiaryEntry("meals", "2026-03-02 12:00", values={"label": "x"}))
    read = read_client(folder.path)
    assert read.used("meals")["time"].astype(str).tolist() == ["2026-03-02 10:00:00"]
    assert read.used("meals")["clock"].astype(str).tolist() == ["2026-03-02 12:00:00"]
    folder.write(
        NAME,
        (folder.path / NAME).read_text().replace("12:00:00+02:00", "12:00"),
    )
    assert len(read_client(folder.path).used("meals")) == 0
    assert "without an offset" in told(folder, Severity.LEFT_OUT)[0].what


def test_times_in_utc_alone_take_a_plain_time(folder):
    folder.glucose(*(f"2026-03-02T{h:02d}:{m:02d}Z,100" for h in range(24) for m in (0, 30)))
    note(folder, addition, DiaryEntry("meals", "2026-03-02 12:00", values={"label": "x"}))
    assert len(read_client(folder.path).used("meals")) == 1


# Against a plain list of what was said


def test_any_run_of_corrections_comes_to_what_a_plain_list_says(folder):
    """What each meal weighed, the newest last (None: out), beside what the file comes to."""
    folder.steady_glucose(hours=48)
    draw = np.random.default_rng(16)
    raw = [f"2026-03-02T{hour:02d}:00" for hour in range(8, 20, 3)]
    folder.write("meals.csv", "time,label,carbs_g\n" + "".join(f"{at},m,10\n" for at in raw))
    first = read_client(folder.path)
    path = folder.path / NAME
    read = partial(read_added, glucose=first.streams["glucose"], zone=None, by_clock=True)

    def now():
        items = read_corrections(folder.path, Findings())
        out = correct({"meals": first.streams["meals"]}, items, read, Findings())
        return replace(first, streams=first.streams | out.streams, replaced=out.replaced)

    def write(item):
        content, row = with_one_more(path.read_bytes() if path.exists() else b"", item)
        path.write_bytes(content)
        return row

    chains = {at: [10.0] for at in raw}
    done = []
    for step in range(40):
        held = {at: chain[-1] for at, chain in chains.items() if chain and chain[-1] is not None}
        kind = str(draw.choice(["add", "mend", "mend", "remove", "undo"]))
        if kind == "undo" and done:
            row, at = done.pop()
            write(Correction(0, NOW, "meals", (NAME, row), {}, {}))
            chains[at].pop()
        elif kind == "remove" and any(at in raw for at in held):
            at = str(draw.choice([at for at in held if at in raw]))
            done.append((write(removal(now(), at, NOW)), at))
            chains[at].append(None)
        elif kind == "mend" and held:
            at, grams = str(draw.choice(sorted(held))), float(20 + step)
            said = DiaryEntry("meals", values={"carbs_g": f"{grams:g}"})
            done.append((write(mending(now(), at, said, NOW)), at))
            chains[at].append(grams)
        elif kind == "add":
            at = f"2026-03-03T{step % 24:02d}:{step % 60:02d}"
            said = DiaryEntry("meals", at, values={"label": "m", "carbs_g": "5"})
            done.append((write(addition(now(), said, NOW)), at))
            chains[at] = [5.0]
        expected = sorted(
            (at, chain[-1]) for at, chain in chains.items() if chain and chain[-1] is not None
        )
        assert weighed(now()) == expected, step
    assert weighed(read_client(folder.path)) == expected
    assert len(standing(read_corrections(folder.path, Findings()))) > 5


def weighed(client):
    frame = client.used("meals")
    clock = frame["clock"].dt.strftime("%Y-%m-%dT%H:%M")
    return list(zip(clock, frame["carbs_g"], strict=True))
