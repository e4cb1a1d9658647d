"""Two people in one file or in one folder: told, whoever names them, and never just joined."""

import json

import pytest

from miner.core.results import Severity
from miner.records import read_client
from miner.records.columns import names_a_person

ROWS = [
    f"2026-03-{2 + at // 96:02d}T{at % 96 // 4:02d}:{at % 4 * 15:02d},{100 + at % 9}"
    for at in range(192)
]


def observation(row, person):
    time, value = row.split(",")
    subject = {"subject": {"reference": person}} if person else {}
    return json.dumps(
        {
            "resourceType": "Observation",
            "status": "final",
            "code": {"coding": [{"system": "http://loinc.org", "code": "99504-3"}]},
            "effectiveDateTime": f"{time}:00+00:00",
            "valueQuantity": {"value": int(value), "code": "mg/dL", "unit": "mg/dL"},
            **subject,
        }
    )


def data_point(row, person):
    time, value = row.split(",")
    return json.dumps(
        {
            "header": {"schema_id": {"name": "blood-glucose"}, "user_id": person},
            "body": {
                "blood_glucose": {"value": int(value), "unit": "mg/dL"},
                "effective_time_frame": {"date_time": f"{time}:00Z"},
            },
        }
    )


def alternating(write, *people):
    lines = [write(row, people[at % len(people)]) for at, row in enumerate(ROWS)]
    return "\n".join(lines) + "\n"


def table(*people):
    head = "time,glucose_mg_dl,Patient ID\n"
    return head + alternating(lambda row, person: f"{row},{person}", *people)


@pytest.mark.parametrize(
    ("name", "text", "row", "said"),
    [
        ("glucose.csv", table("A7", "B2"), 3, "2 people are named in the column 'Patient ID'"),
        ("a.ndjson", alternating(observation, "Patient/1", "Patient/2"), 2, "'1' 96, '2' 96"),
        ("a.ndjson", alternating(data_point, "u1", "u1", "u1", "u2"), 4, "'u1' 144, 'u2' 48"),
    ],
)
def test_several_people_in_one_file_stop_it(folder, name, text, row, said):
    folder.write(name, text)
    folder.glucose(*ROWS) if name != "glucose.csv" else None
    client = read_client(folder.path)
    (told,) = [item for item in client.findings if item.severity is Severity.STOP]
    assert said in told.what
    assert (told.file, told.row, told.count) == (name, row, 192)
    assert client.streams["glucose"].empty


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("glucose.csv", table("A7", "a7 ", "")),
        ("glucose.csv", table("A7", "B2").replace("Patient ID", "Client comment")),
        (
            "a.ndjson",
            alternating(observation, "Patient/1", "http://x/fhir/Patient/1/_history/2", ""),
        ),
        ("a.ndjson", alternating(data_point, "u1", "")),
    ],
)
def test_one_person_however_written_is_read(folder, name, text):
    client = read_client(folder.write(name, text).path)
    assert len(client.used("glucose")) == 192
    assert not [item for item in client.findings if "people" in item.what]


def test_one_of_several_people_can_be_kept(folder):
    folder.write("glucose.csv", table("A7", "B2", "B2"))
    folder.write(
        "sources.toml",
        '[[source]]\nfile = "glucose.csv"\nstream = "glucose"\nwhere = { "Patient ID" = ["A7"] }\n'
        '[source.columns]\ntime = "time"\nglucose_mg_dl = "glucose_mg_dl"\n',
    )
    client = read_client(folder.path)
    assert len(client.used("glucose")) == 64
    assert not [item for item in client.findings if "people" in item.what]


def test_two_files_that_name_different_people_are_asked_about(folder):
    half = len(ROWS) // 2
    head = "time,glucose_mg_dl,user\n"
    folder.write("glucose-1.csv", head + "".join(f"{row},anna\n" for row in ROWS[:half]))
    folder.write("glucose-2.csv", head + "".join(f"{row},ben\n" for row in ROWS[half:]))
    folder.write("meals.csv", "time,label,user\n2026-03-02T08:00,soup,someone else\n")
    client = read_client(folder.path)
    (told,) = [item for item in client.findings if "who may be two people" in item.what]
    assert told.severity is Severity.QUESTION
    assert told.file == "glucose-2.csv"
    assert "'ben'" in told.what
    assert "'glucose-1.csv' names 'anna'" in told.what
    assert len(client.used("glucose")) == len(ROWS)


@pytest.mark.parametrize(
    ("column", "tells"),
    [
        ("Patient ID", True),
        ("patient_id", True),
        ("userId", True),
        ("SubjectCode", True),
        ("client", True),
        ("USER", True),
        ("name", False),
        ("user note", False),
        ("Client weight", False),
        ("id", False),
        ("", False),
        ("\u60a3\u8005", False),
    ],
)
def test_columns_that_tell_a_person_by_their_name(column, tells):
    assert names_a_person(column) is tells
