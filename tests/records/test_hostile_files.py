"""A corpus of invented hostile and odd files, and what must be said of each of them.

Each case: the files of a client folder, and words of the message or of the finding. A message that
refuses the folder begins with '!', words of what to do with '>'. Glucose of two days stands
beside every case that has none.
"""

import hashlib
import io
import zipfile
from pathlib import Path

import pytest

from miner.core.messages import MinerError
from miner.records import client_folder, read_client

Files = dict[str, str | bytes]
HEAD = "time,glucose_mg_dl\n"
ROW = "2026-03-02T08:00,100\n"
STEADY = HEAD + "".join(
    f"2026-03-0{d}T{h:02d}:{m:02d},{95 + (h + m) % 9}\n"
    for d in (2, 3)
    for h in range(24)
    for m in range(0, 60, 5)
)
ENTRY = '[[source]]\nfile = "{}"\nstream = "{}"\n{}[source.columns]\n{}\n'


def mapped(file: str, stream: str, columns: str, keys: str = "") -> str:
    return ENTRY.format(file, stream, keys, columns)


def zipped(**files: str) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in files.items():
            archive.writestr(name.replace("__", "."), content)
    return buffer.getvalue()


MEALS = "time,label,carbs_g\n"
SLEEP = "start,end,asleep_min\n"
STOP, LEFT_OUT, REMEDY = "!", "~", ">"
CASES: dict[str, tuple[Files, str]] = {
    # bytes
    "zero bytes": ({"glucose.csv": b"\0" * 300}, "!zero bytes"),
    "utf-16 without a mark": (
        {"glucose.csv": STEADY.encode("utf-16-le")}, '!encoding = "utf-16"'),
    "half a utf-16 file": ({"glucose.csv": STEADY.encode("utf-16")[:-1]}, "!UTF-16"),
    "one-byte letters": (
        {"meals.csv": f"{MEALS}2026-03-02T08:00,caf\u00e9,3\n".encode("cp1252")}, "~is not UTF-8"),
    "a picture": ({"glucose.csv": b"\x89PNG\r\n\x1a\n" + b"x" * 50}, "!a picture"),
    "a document": ({"glucose.csv": b"%PDF-1.7 " + b"x" * 50}, "!a PDF document"),
    "an old spreadsheet": ({"meals.csv": b"\xd0\xcf\x11\xe0" + b"x" * 50}, "~an old spreadsheet"),
    "a database": ({"sleep.csv": b"SQLite format 3\0"}, "~a database"),
    "a compressed file": ({"glucose.csv": b"\x1f\x8b\x08\0"}, "!a compressed file"),
    "a spreadsheet under a csv name": ({"glucose.csv": b"PK\x03\x04xx"}, "!a spreadsheet"),
    "an archive that is damaged": (
        {"g.zip": b"PK\x03\x04broken",
         "sources.toml": mapped("g.zip", "glucose", 'time = "a"\nglucose_mg_dl = "b"')},
        "!cannot be opened"),
    "an archive without a table": (
        {"g.zip": zipped(a__pdf="x"),
         "sources.toml": mapped("g.zip", "glucose", 'time = "a"\nglucose_mg_dl = "b"')},
        "!holds 0 text files"),
    "an archive with a way out of it": (
        {"g.zip": zipped(**{"../../evil__csv": STEADY, "b__csv": STEADY}),
         "sources.toml": mapped("g.zip", "glucose", 'time = "a"\nglucose_mg_dl = "b"')},
        "!holds 2 text files"),
    # layout
    "a cell of a million letters over two lines": (
        {"tags.csv": 'time,tag\n2026-03-02T10:00,"a\n' + "x" * 10**6 + '"\n'},
        "~a cell of more than 131072 characters begins in this row"),
    "a million letters in a row that is too long": (
        {"tags.csv": 'time,tag\n2026-03-02T10:00,"' + "x" * 10**6 + '",1,2\n'},
        "~a cell of more than 131072 characters begins in this row"),
    "a name of a million letters": ({"tags.csv": "x" * 10**6 + "\n"}, "~'" + "x" * 60 + "...'"),
    "values beyond what the sensor can tell": (
        {"glucose.csv": STEADY.replace("08:00,103", "08:00,LO").replace("09:00,95", "09:00,HI")},
        "4 readings of 'glucose_mg_dl' beyond what the sensor can show ('LO', 'HI')"),
    "an empty file": ({"glucose.csv": ""}, "!there are no glucose readings"),
    "a header only": ({"meals.csv": MEALS}, "a header and no rows"),
    "blank lines only": ({"tags.csv": "\n\n\n"}, "the file is empty"),
    "separated by semicolons": (
        {"glucose.csv": STEADY.replace(",", ";")}, "!separated by a semicolon"),
    "separated by tabs": ({"glucose.csv": STEADY.replace(",", "\t")}, "!separated by a tab"),
    "separated by bars": ({"glucose.csv": STEADY.replace(",", "|")}, "!separated by a bar"),
    "a column twice": ({"glucose.csv": "time,glucose_mg_dl,time\n" + ROW}, "!column 'time' twice"),
    "a column in capitals": (
        {"glucose.csv": STEADY.replace("time", "TIME")}, "!Did you mean 'TIME'?"),
    "no header": ({"glucose.csv": STEADY.removeprefix(HEAD)}, "!there is no column 'time'"),
    "a preamble": ({"glucose.csv": "made by nobody\n" + STEADY}, "!there is no column 'time'"),
    "more cells than names": (
        {"glucose.csv": STEADY + "2026-03-04T00:00,100,7\n"}, "more than the 2 cells"),
    "a quote never closes": ({"meals.csv": f'{MEALS}2026-03-02T08:00,"soup,3\n'}, "~never closes"),
    "a quote that swallows rows": (
        {"meals.csv": MEALS + '2026-03-02T08:00,"soup,1\n' + "2026-03-02T09:00,x,1\n" * 30
         + '2026-03-02T12:00,tea",1\n'}, "a missing quote makes one text"),
    "a text of very many lines": (
        {"meals.csv": MEALS + '2026-03-02T08:00,"soup' + "\nx" * 30 + '",1\n'},
        "of more than 20 lines"),
    "a file of one endless line": ({"tags.csv": "x" * 200_000}, "~there is no column 'time'"),
    "columns nobody asked for": (
        {"meals.csv": "time,label,mood,weather\n2026-03-02T08:00,soup,fine,wet\n"},
        "2 columns not used ('mood', 'weather')"),
    # times
    "days and months in doubt": (
        {"glucose.csv": STEADY.replace("2026-03-02T", "02/03/2026 ").replace(
            "2026-03-03T", "03/03/2026 ")}, "no time in 'time' could be read"),
    "one broken time": ({"glucose.csv": STEADY + "sometime,100\n"}, "that cannot be read"),
    "the word now": ({"glucose.csv": STEADY + "now,100\n"}, "('now')"),
    "a date without a time of day": (
        {"glucose.csv": STEADY + "2026-03-04,100\n"}, "without a time of day"),
    "a tag without a time of day": (
        {"tags.csv": "time,tag\n2026-03-02,wine\n"}, "taken as the whole day"),
    "a year mistyped": (
        {"meals.csv": f"{MEALS}2106-03-02T08:00,soup,3\n"}, "a date that is impossible"),
    "the year 1970": (
        {"glucose.csv": STEADY + "1970-01-01T00:00,100\n"}, "a date that is impossible"),
    "an hour that never was": (
        {"glucose.csv": HEAD + "2026-03-29T01:30,100\n2026-03-29T03:00,100\n",
         "client.toml": 'time_zone = "Europe/Lisbon"\n'}, "that no clock showed"),
    "an hour that came twice": (
        {"glucose.csv": HEAD + "2026-10-25T01:30,100\n2026-10-25T01:30,180\n",
         "client.toml": 'time_zone = "Europe/Lisbon"\n'}, "in the hour that came twice"),
    "no zone at all": ({}, "there is no time zone"),
    "UTC without the client's zone": (
        {"glucose.csv": STEADY.replace(",9", "Z,9").replace(",10", "Z,10")},
        "in UTC, without the zone"),
    "a sleep that ends before it starts": (
        {"sleep.csv": f"{SLEEP}2026-03-02T06:00,2026-03-01T23:00,400\n"},
        "an end before the start"),
    "a sleep of two days": (
        {"sleep.csv": f"{SLEEP}2026-03-01T23:00,2026-03-03T06:00,400\n"}, "longer than 24 hours"),
    "columns under each other's names": (
        {"glucose.csv": HEAD + "".join(f"{95 + m},2026-03-02T08:{m:02d}\n" for m in range(9))},
        ">The times are in 'glucose_mg_dl'"),
    "a spreadsheet's numbers for dates": (
        {"glucose.csv": HEAD + "".join(f"46082.{m:03d},100\n" for m in range(9))},
        ">a spreadsheet's number for a date"),
    "seconds since 1970": (
        {"glucose.csv": HEAD + "".join(f"{1772572800 + 300 * m},100\n" for m in range(9))},
        ">count seconds since 1970"),
    "milliseconds since 1970": (
        {"glucose.csv": HEAD + "".join(f"{1772572800000 + 300000 * m},1\n" for m in range(9))},
        ">count milliseconds since 1970"),
    "times of day without dates": (
        {"sleep.csv": "start,end\n23:00,07:00\n22:00,06:00\n23:30,07:10\n"},
        ">a time of day without its date"),
    # values
    "some values in mmol/L": (
        {"glucose.csv": STEADY + "2026-03-04T00:00,5.4\n2026-03-04T00:05,6.1\n"},
        "as if they were in mmol/L (rows 578, 579)"),
    "mmol/L under the name of mg/dL": (
        {"glucose.csv": HEAD + "".join(f"2026-03-02T08:{m:02d},5.4\n" for m in range(9))},
        "which cannot be mg/dL"),
    "mg/dL under the name of mmol/L": (
        {"glucose.csv": STEADY.replace("mg_dl", "mmol_l")}, "which cannot be mmol/L"),
    "a value of 601": ({"glucose.csv": STEADY + "2026-03-04T00:00,601\n"}, "any possible range"),
    "a negative value": ({"glucose.csv": STEADY + "2026-03-04T00:00,-5\n"}, "any possible range"),
    "a value without end": (
        {"glucose.csv": STEADY + "2026-03-04T00:00,1e400\n"}, "cannot be read as a number"),
    "a decimal comma": (
        {"glucose.csv": 'time,glucose_mg_dl\n2026-03-02T08:00,"101,5"\n' + ROW.replace("8", "9")},
        "cannot be read as a number"),
    "an error code": ({"glucose.csv": STEADY + "2026-03-04T00:00,E4\n"}, "('E4')"),
    "thousands with a comma": (
        {"activity.csv": 'start,end,kind,steps\n2026-03-02T08:00,2026-03-02T09:00,walk,"1,200"\n'},
        "cannot be read as a number"),
    "3,000 g of carbohydrate": (
        {"meals.csv": f"{MEALS}2026-03-02T08:00,soup,3000\n"}, "any possible range"),
    "a level nobody knows": (
        {"meals.csv": "time,label,carbs_level\n2026-03-02T08:00,soup,medium\n"},
        "unknown word in 'carbs_level'"),
    "a sleep of a kind nobody knows": (
        {"sleep.csv": "start,end,kind\n2026-03-01T23:00,2026-03-02T06:00,siesta\n"},
        "unknown word in 'kind'"),
    "a tag without a word": ({"tags.csv": "time,tag\n2026-03-02T08:00,\n"}, "and no tag"),
    # more than one file
    "the same file twice": ({"glucose-2.csv": STEADY}, "576 readings found twice"),
    "a file that contradicts another": (
        {"glucose-2.csv": HEAD + "2026-03-02T08:00,180\n"}, "a second value for the same minute"),
    "two people in one folder": (
        {"glucose-2.csv": HEAD + "".join(
            f"{row.split(',')[0]}:30,150\n" for row in STEADY.splitlines()[1:])},
        "'glucose-2.csv' and 'glucose.csv' show different glucose at the same time, in 1152"),
    "two records of one night": (
        {"sleep.csv": f"{SLEEP}2026-03-01T23:00,2026-03-02T06:00,400\n"
         "2026-03-01T23:30,2026-03-02T07:30,300\n"}, " a different one"),
    "a night written again": (
        {"sleep.csv": f"{SLEEP}2026-03-01T23:00,2026-03-02T06:00,400\n"
         "2026-03-01T23:00,2026-03-02T06:05,398\n"}, "a night that was recorded again"),
    "a meal written twice": (
        {"meals.csv": MEALS + "2026-03-02T08:00,soup,3\n" * 2}, "found twice and counted once"),
    "a file nobody maps": ({"export.csv": "a,b\n1,2\n"}, "nothing says what its columns hold"),
    "a spreadsheet nobody maps": (
        {"export.xlsx": b"PK\x03\x04"},
        "nothing says what its columns hold"),
    "a mapped file that is not there": (
        {"sources.toml": mapped("food.csv", "meals", 'time = "a"\nlabel = "b"')},
        "there is no file 'food.csv'"),
    # sensors and logs
    "a low that looks like pressure": (
        {"glucose.csv": "\n".join(
            f"{row.split(',')[0]},65" if "2026-03-02T03:0" <= row[:15] < "2026-03-02T03:3" else row
            for row in STEADY.split("\n"))}, "may be pressure on the sensor"),
    "a rate no body shows": (
        {"glucose.csv": STEADY.replace("2026-03-03T08:00,103", "2026-03-03T08:00,240")},
        "faster than a body can"),
    "tags spelt in two ways": (
        {"tags.csv": "time,tag\n2026-03-02T08:00,Late coffee\n2026-03-03T08:00,late coffees\n"},
        "may be one"),
    # open standards
    "JSON that is not": ({"a.json": "{oops"}, "~this is not valid JSON"),
    "JSON of something else": ({"a.json": '{"a": 1}'}, "~this file holds no FHIR Observation"),
    "JSON nested without end": ({"a.json": "[" * 5000 + "]" * 5000}, "~"),
    "an average passed off as a reading": (
        {"a.json": '{"resourceType": "Observation", "status": "final", "code": {"coding": [{'
         '"system": "http://loinc.org", "code": "97507-8"}]}, "valueQuantity": {"value": 120}}'},
        "not used as readings"),
    "a line that is not JSON": (
        {"a.ndjson": '{"resourceType": "Patient"}\n{oops\n'}, "not JSON"),
    # settings
    "a key nobody knows": ({"client.toml": "tme_zone = 1\n"}, "!Did you mean 'time_zone'?"),
    "a zone nobody knows": (
        {"client.toml": 'time_zone = "Europe/Lisboa"\n'}, "!Did you mean 'Europe/Lisbon'?"),
    "a range in mmol/L": ({"client.toml": "range = [3.9, 7.8]\n"}, "!in mg/dL"),
    "settings that are not TOML": ({"client.toml": "a = [\n"}, "!not valid TOML"),
    "a mapping out of the folder": (
        {"sources.toml": mapped("../x.csv", "meals", 'time = "a"\nlabel = "b"')},
        "!a file in the client folder"),
    "a change of the sensor in the year 9999": (
        {"client.toml": "sensor_changes = [9999-12-31T00:00:00]\n"},
        "!'number 1' in [sensor_changes] is 9999-12-31T00:00:00. Expected a date of the years"),
    "a table of a list in single brackets": (
        {"client.toml": '[left_out]\ndate = 2026-03-09\nreason = "fever"\n'},
        "!'left_out' is a table with date, reason. Expected a list (tables of a list are"),
    "every file of every folder": (
        {"sources.toml": mapped("***", "meals", 'time = "a"\nlabel = "b"')},
        "!a file in the client folder"),
    "an encoding that is none of text": (
        {"sources.toml": mapped(
            "glucose.csv", "glucose", 'time = "time"\nglucose_mg_dl = "glucose_mg_dl"',
            'encoding = "base64"\n')},
        "!cannot be read as BASE64"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_what_is_said(case: str, tmp_path: Path) -> None:
    files, said = CASES[case]
    if not any(name.startswith("glucose") and name != "glucose-2.csv" for name in files):
        files = {"glucose.csv": STEADY, **files}
    for name, content in files.items():
        raw = content if isinstance(content, bytes) else content.encode()
        (tmp_path / name).write_bytes(raw)
    before = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in tmp_path.iterdir()}
    if said.startswith(STOP):
        with pytest.raises(MinerError) as error:
            read_client(tmp_path)
        assert said.removeprefix(STOP) in error.value.message
        assert all((error.value.found, error.value.expected, error.value.do))
    else:
        found = read_client(tmp_path).findings
        if said.startswith(LEFT_OUT):
            said = said.removeprefix(LEFT_OUT)
            found = tuple(item for item in found if item.code == "file_left_out")
        part = "do" if said.startswith(REMEDY) else "what"
        said = said.removeprefix(REMEDY)
        told = [item for item in found if said in getattr(item, part)]
        assert told, [item.what for item in found]
        assert all((told[0].expected, told[0].do))
    after = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in tmp_path.iterdir()}
    assert before == after


def test_the_corpus_is_large_enough() -> None:
    assert len(CASES) >= 60


@pytest.mark.parametrize(
    ("limit", "most", "said"),
    [
        ("LARGEST_BYTES", 10_000, f"have {2 * len(STEADY) / 1e6:.3g} MB together.*at most 0.01 MB"),
        ("MOST_ROWS", 600, "have 1152 rows together.*at most 600 rows"),
    ],
)
def test_files_that_are_too_much_together(monkeypatch, tmp_path, limit, most, said) -> None:
    monkeypatch.setattr(client_folder, limit, most)
    for name in ("glucose-1.csv", "glucose-2.csv"):
        (tmp_path / name).write_text(STEADY)
    with pytest.raises(MinerError, match=said):
        read_client(tmp_path)
