"""Dropped files, settings and the entry of a mapping: whole or not there, and over nothing."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from visits import Visitor, words

from miner import steps
from miner.core.messages import MinerError
from miner.page import uploads
from miner.page.places import GOING, file_name, new_code
from miner.page.serving import tidy
from miner.page.views.mapping import entry_of, fields_of
from miner.records.read.files import read_toml
from miner.records.read.settings import ClientFile
from miner.records.read.sources import SourcesFile
from miner.records.write.settings_file import change
from miner.steps.mapping import look_at, map_file

Open = Callable[[Path], Visitor]
CLIENT = "/clients/client-01"
TAGS = b"time,tag\n2026-01-20T10:00,sauna\n2026-01-21T10:00,sauna\n"


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir() if path.name[0] != "."}


def test_a_file_waits_until_it_is_added(practice: Path, visitor: Open) -> None:
    folder, one = practice / "client-01", visitor(practice)
    before = names(folder)
    page = one.post(f"{CLIENT}/records", files={"files": ("tags-2.csv", TAGS)})
    assert "Read as tags : 2 rows, 20 to 21 Jan 2026" in words(page)
    assert names(folder) == before
    one.post(f"{CLIENT}/records/add", file="tags-2.csv", as_name="tags-2.csv")
    assert (folder / "tags-2.csv").read_bytes() == TAGS
    assert not (folder / ".waiting").exists()


def test_the_same_file_again_is_told_and_one_of_that_name_is_left(
    practice: Path, visitor: Open
) -> None:
    folder, one = practice / "client-01", visitor(practice)
    held = (folder / "tags.csv").read_bytes()
    page = one.post(f"{CLIENT}/records", files={"files": ("copy.csv", held)})
    assert "This file was added before , as tags.csv" in words(page)
    page = one.post(f"{CLIENT}/records", files={"files": ("tags.csv", TAGS)})
    assert "Another file has this name" in words(page)
    assert one.send(f"{CLIENT}/records/add", file="tags.csv").status_code == 400
    assert (folder / "tags.csv").read_bytes() == held
    one.post(f"{CLIENT}/records/add-all")
    assert (folder / "tags.csv").read_bytes() == held
    assert (folder / "tags-2.csv").read_bytes() == TAGS
    assert uploads.waiting(folder) == ["copy.csv"]


def test_what_a_kill_left_behind_is_cleared_when_the_page_opens(practice: Path) -> None:
    folder = practice / "client-01"
    (folder / ".waiting").mkdir()
    for place in (folder / ".waiting", folder):
        (place / ".incoming-abc").write_bytes(b"half a fi")
    (folder / ".waiting" / "tags-2.csv").write_bytes(TAGS)
    (folder / ".miner-xyz").mkdir()
    gone = practice / f"{GOING}00"
    gone.mkdir()
    (gone / "glucose.csv").write_text("x")
    tidy(practice)
    assert not gone.exists()
    assert uploads.waiting(folder) == ["tags-2.csv"]
    assert not list(practice.rglob(".incoming-*"))
    assert not (folder / ".miner-xyz").exists()


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("glucose.csv", "glucose.csv"), ("../../etc/passwd", "passwd"),
        ("C:\\Users\\x\\sensor download.txt", "sensor download.txt"), (".hidden.csv", "hidden.csv"),
        ("a<b>&\"c\".csv", "a_b_&_c_.csv"), ("x" * 300 + ".csv", "x" * 116 + ".csv"),
        ("números.csv", "números.csv"), ("tags\u202e.csv", "tags_.csv"), ("a\x00b.csv", "a_b.csv"),
    ],
)  # fmt: skip
def test_names_that_browsers_send(given: str, name: str) -> None:
    assert file_name(given) == name


@pytest.mark.parametrize("given", ["", "..", "/", "con.csv", "client.toml", "LEDGER.jsonl", " . "])
def test_names_that_no_file_of_records_has(given: str) -> None:
    with pytest.raises(MinerError):
        file_name(given)


@pytest.mark.parametrize(
    "code", ["", "a/b", "..", ".x", "a b", "x" * 41, "CLIENT-01", "rules", "nul"]
)
def test_codes_that_are_refused(practice: Path, code: str) -> None:
    with pytest.raises(MinerError):
        new_code(practice, code)
    assert new_code(practice, " client-02 ") == "client-02"


def test_a_setting_is_changed_and_the_rest_of_the_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "client.toml"
    path.write_text('# mine\ncode = "c"\n\n[intake]\n# asked on the phone\ninsulin = "no"\n')
    change(path, ClientFile, lambda document: document["intake"].update({"lows": "yes"}))
    text = path.read_text()
    assert "# mine" in text
    assert "# asked on the phone" in text
    assert read_toml(path, ClientFile).intake == {"insulin": "no", "lows": "yes"}
    with pytest.raises(MinerError):
        change(path, ClientFile, lambda document: document.update({"range": [1, 2]}))
    assert path.read_text() == text


def test_a1c_and_the_treatment_of_diabetes_are_written_beside_what_was_agreed(
    practice: Path, visitor: Open
) -> None:
    one, path = visitor(practice), practice / "client-01" / "client.toml"
    path.write_text(path.read_text() + "\n[clinician] # by phone\ninformed = 2026-02-01\n")
    first = {"a1c": "6,7", "a1c_unit": "%", "treats_diabetes": "1", "intake-diabetes": "yes"}
    one.post(f"{CLIENT}/intake", **first)
    held = read_toml(path, ClientFile)
    assert (held.laboratory.a1c_percent, held.treated()) == (6.7, True)
    assert str(held.clinician.informed) == "2026-02-01"
    one.post(f"{CLIENT}/intake", a1c="50", a1c_unit="mmol/mol")
    held = read_toml(path, ClientFile)
    assert (held.laboratory.a1c_percent, held.laboratory.a1c_mmol_mol) == (None, 50)
    assert 'value="50"' in one.get(f"{CLIENT}/intake").text
    before = path.read_bytes()
    for wrong in ("much", "50"):
        answer = one.send(f"{CLIENT}/intake", a1c=wrong, a1c_unit="%")
        assert answer.status_code == 400, wrong
        assert words(answer).count("Expected ") == 1, wrong
    assert path.read_bytes() == before
    one.post(f"{CLIENT}/intake")
    held = read_toml(path, ClientFile)
    assert (held.laboratory.percent(), held.clinician.treats_diabetes) == (None, False)
    assert str(held.clinician.informed) == "2026-02-01"
    assert "# by phone" in path.read_text()


def test_the_intake_is_written_and_read_back(practice: Path, visitor: Open) -> None:
    one, path = visitor(practice), practice / "client-01" / "client.toml"
    before = read_toml(path, ClientFile)
    one.post(f"{CLIENT}/intake", **{"intake-insulin": "yes", "time_zone": "Europe/Paris",
                                    "calm": "1", "pooled": "no"})  # fmt: skip
    held = read_toml(path, ClientFile)
    assert held.intake["insulin"] == "yes"
    assert held.intake["lows"] == "not_asked"
    assert (held.time_zone, held.calm, held.pooled) == ("Europe/Paris", True, False)
    assert held.sensor_changes == before.sensor_changes
    assert one.send(f"{CLIENT}/intake", time_zone="Mars/Base").status_code == 400
    assert read_toml(path, ClientFile) == held
    one.post(f"{CLIENT}/intake/clinician", informed="2026-03-01", agreed="")
    one.post(
        f"{CLIENT}/intake/clinician", informed="2026-03-01", agreed="2026-03-02", covers="sleep"
    )
    settled = read_toml(path, ClientFile).clinician
    assert (str(settled.informed), settled.covers) == ("2026-03-01", ("sleep",))
    assert one.send(f"{CLIENT}/intake/clinician", agreed="2026-03-03").status_code == 400
    one.post(
        f"{CLIENT}/intake",
        **{"intake-insulin": "yes", "time_zone": "Europe/Paris", "calm": "1", "pooled": "no"},
    )
    assert read_toml(path, ClientFile).clinician == settled
    assert settled.before
    one.post(f"{CLIENT}/intake/clinician", undo="1")
    one.post(f"{CLIENT}/intake/clinician", undo="1")
    assert read_toml(path, ClientFile).clinician == held.clinician
    one.post(f"{CLIENT}/left-out", day="2026-02-03", reason="ill")
    one.post(f"{CLIENT}/left-out", day="2026-02-04", reason="ill still")
    assert [str(item.date) for item in read_toml(path, ClientFile).left_out] == [
        "2026-02-03", "2026-02-04"]  # fmt: skip


def form_of(entry: dict[str, Any], fields: dict[str, Any]) -> dict[str, str]:
    """The fields of the form as the page shows them, written independently of it."""
    marks = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
    form = {"stream": fields["stream"], "delimiter": marks[entry.get("delimiter", ",")]}
    for name in ("time_format", "decimal", "encoding", "skip_rows"):
        form[name] = str(entry.get(name, ""))
    form["not_measured"] = ", ".join(entry.get("not_measured", []))
    for field in fields["fields"]:
        form[f"column-{field.name}"] = field.column
        form[f"unit-{field.name}"] = field.unit
        form[f"constant-{field.name}"] = field.constant
    for name, value in fields["episodes"].items():
        form[f"level-{name}"] = str(value)
    form["where-column"], words_ = fields["where"]
    form["where-words"] = ", ".join(words_)
    return form


def test_the_form_of_every_written_entry_gives_the_entry_again(invented: Path) -> None:
    folder = invented / "client-04"
    sources = read_toml(folder / "sources.toml", SourcesFile).source
    assert len(sources) == 6
    for source in sources:
        (path,) = folder.glob(source.file)
        proposal = map_file(path, answers={"stream": source.stream})
        entry = source.model_dump(exclude_defaults=True)
        form = form_of(entry, fields_of(proposal, entry))
        made = entry_of(lambda name, form=form: form.get(name, ""), proposal)  # type: ignore[misc]
        given = look_at(path, folder, made)
        written = look_at(path, folder, entry)
        assert given.fault is None
        assert given.understood == written.understood


def test_looking_at_a_file_says_what_reading_the_folder_says(invented: Path) -> None:
    """The rows of each file alone, beside those of the whole folder read as one."""
    folder = invented / "client-06"
    client = steps.read_client(folder)
    for stream in ("glucose", "sleep", "stress", "activity", "meals", "tags"):
        look = look_at(folder / f"{stream}.csv", folder)
        (one,) = look.understood
        assert (one.stream, look.kind) == (stream, "records")
        assert one.rows >= len(client.streams[stream])


def test_a_file_is_mapped_step_by_step(invented: Path, empty: Path, visitor: Open) -> None:
    one = visitor(empty)
    one.post("/clients", code="client-09")
    path = invented / "client-04" / "sensor download.txt"
    home = "/clients/client-09/records"
    page = one.post(home, files={"files": (path.name, path.read_bytes())})
    assert "We do not know these columns." in words(page)
    proposal = map_file(path)
    entry = proposal.proposals[0].entry
    form = form_of(dict(entry), fields_of(proposal, entry))
    form |= {"file": path.name}
    wrong = one.send(f"{home}/columns", **(form | {"decimal": ".", "action": "preview"}))
    right = one.send(f"{home}/columns", **(form | {"action": "preview"}))
    assert wrong.status_code == right.status_code == 200
    assert wrong.text != right.text
    assert "Read as glucose" in words(right)
    assert not (empty / "client-09" / "sources.toml").exists()
    one.post(f"{home}/columns", **(form | {"action": "use"}))
    one.post(f"{home}/add", file=path.name, as_name=path.name)
    assert (empty / "client-09" / path.name).read_bytes() == path.read_bytes()
    assert len(steps.read_client(empty / "client-09").streams["glucose"]) > 3000


def test_a_deletion_names_what_goes_and_wants_the_code(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    page = words(one.get(f"{CLIENT}/folder"))
    for name in names(practice / "client-01"):
        assert name in page
    assert "printouts" in page
    assert one.send(f"{CLIENT}/delete", code="client-1").status_code == 400
    assert (practice / "client-01" / "glucose.csv").is_file()
    one.post(f"{CLIENT}/delete", code="client-01")
    assert not (practice / "client-01").exists()
    assert not list(practice.glob(f"{GOING}*"))


def test_the_download_holds_every_file_to_the_byte(practice: Path, visitor: Open) -> None:
    import io
    import zipfile

    answer = visitor(practice).get(f"{CLIENT}/download")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        held = {name: archive.read(name) for name in archive.namelist()}
    folder = practice / "client-01"
    assert held == {
        f"client-01/{path.relative_to(folder).as_posix()}": path.read_bytes()
        for path in folder.rglob("*") if path.is_file()
    }  # fmt: skip


def test_a_date_and_a_time_in_two_columns_are_chosen_too(tmp_path: Path) -> None:
    path = tmp_path / "notes.csv"
    rows = "".join(f"{day:02d}/02/2026;10:{day}0;sauna\n" for day in range(1, 6))
    path.write_text(f"Date;Clock;Note\n{rows}")
    proposal = map_file(path, answers={"stream": "tags"})
    entry = proposal.proposals[0].entry
    form = form_of(dict(entry), fields_of(proposal, entry))
    form |= {"column-time": "Date", "column-time_of_day": "Clock", "column-tag": "Note"}
    assert look_at(path, tmp_path, entry_of(lambda name: form.get(name, ""), proposal)).findings
    form["time_format"] = "%d/%m/%Y %H:%M"
    entry = entry_of(lambda name: form.get(name, ""), proposal)
    (one,) = look_at(path, tmp_path, entry).understood
    assert (one.rows, one.first) == (5, "2026-02-01 10:10")


def test_mapping_again_replaces_the_entry_and_keeps_the_one_before(
    empty: Path, visitor: Open
) -> None:
    one = visitor(empty)
    one.post("/clients", code="client-09")
    home, folder = "/clients/client-09/records", empty / "client-09"
    rows = "".join(f"2026-02-{day:02d} 10:00,101,wine\n" for day in range(1, 20))
    one.post(home, files={"files": ("export.csv", f"when,glucose,note\n{rows}".encode())})
    form = {"file": "export.csv", "action": "use", "column-time": "when"}
    one.post(f"{home}/columns", **form, stream="tags", **{"column-tag": "note"})
    (first, *_) = read_toml(folder / "sources.toml", SourcesFile).source
    assert first.stream == "tags"
    one.post(f"{home}/columns", **form, stream="glucose", **{"column-glucose_mg_dl": "glucose"})
    entries = read_toml(folder / "sources.toml", SourcesFile).source
    assert [each.stream for each in entries] == ["glucose"]
    (kept,) = tomllib.loads((folder / "sources.toml.before").read_text())["before"]
    assert 'stream = "tags"' in kept["entries"]
