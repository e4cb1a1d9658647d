"""Open-standard records: FHIR R4 Observations, IEEE 1752.1 and Open mHealth data points."""

import json
import os
from datetime import datetime, timedelta

import numpy as np
import pytest
from fhir.resources.R4B.bundle import Bundle
from fhir.resources.R4B.observation import Observation
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from miner.core.messages import MinerError
from miner.records import read_client

# Bodies and Observations below: HL7 FHIR R4 and the Open mHealth schemas (snapshot of August 2024).
LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"


def observation(code="99504-3", time="2026-03-02T07:05:00+01:00", **more):
    made = {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": [{"system": LOINC, "code": code}]},
        "subject": {"reference": "Patient/p1"},
        **({"effectiveDateTime": time} if time else {}),
        **more,
    }
    Observation.model_validate(made)  # the check of a well-kept library: this is valid R4
    return made


def quantity(value, unit="mg/dL", **more):
    return {"value": value, "unit": unit, "system": UCUM, "code": unit, **more}


def reading(value=104, unit="mg/dL", code="99504-3", time="2026-03-02T07:05:00+01:00", **more):
    return observation(code, time, valueQuantity=quantity(value, unit, **more))


def night(code, minutes, end="2026-03-02T06:40:00+01:00"):
    period = {"start": "2026-03-01T23:10:00+01:00", "end": end}
    return observation(code, None, effectivePeriod=period, valueQuantity=quantity(minutes, "min"))


def read(folder, *records, name="records.ndjson", zone=None):
    folder.write(name, "\n".join(map(json.dumps, records)))
    if zone:
        folder.write("client.toml", f'time_zone = "{zone}"\n')
    return read_client(folder.path)


def told(client, words):
    (found,) = [item for item in client.findings if words in item.what]
    return found.count, found.row


def test_readings_in_both_units_and_with_comparators(folder):
    client = read(
        folder,
        reading(),
        reading(5.4, "mmol/L", "105272-9", "2026-03-02T07:10:00+01:00"),
        reading(40, comparator="<", time="2026-03-02T07:15:00+01:00"),
        reading(400, comparator=">=", time="2026-03-02T07:20:00+01:00"),
        reading(99, "g/L", time="2026-03-02T07:25:00+01:00"),
    )
    glucose = client.used("glucose")
    # 5.4 mmol/L x 18.0156 = 97.28 (molar mass of glucose 180.156 g/mol, IUPAC weights)
    assert glucose["glucose"].round(2).tolist()[:2] == [104, 97.28]
    assert glucose["censored"].tolist() == [0, 0, -1, 1]
    assert glucose["row"].tolist() == [1, 2, 3, 4]
    assert str(glucose["clock"][0]) == "2026-03-02 07:05:00"
    assert str(glucose["time"][0]) == "2026-03-02 06:05:00"
    assert told(client, "in a unit that is not known") == (1, 5)


def test_what_is_not_a_reading_of_the_sensor_is_told(folder):
    period = {"start": "2026-03-01T00:00:00+01:00", "end": "2026-03-02T00:00:00+01:00"}
    absent = {"coding": [{"code": "sensor-failure"}]}
    client = read(
        folder,
        reading(),
        observation("97507-8", None, effectivePeriod=period, valueQuantity=quantity(120)),
        observation("99504-3", None, effectivePeriod=period, valueQuantity=quantity(121)),
        reading(133, code="41653-7"),
        reading(134, code="2339-0"),
        observation(dataAbsentReason=absent),
        {**reading(), "status": "entered-in-error"},
        reading(70, "mg/dL", "8867-4"),
        {"resourceType": "Patient", "id": "p1"},
    )
    assert len(client.streams["glucose"]) == 1
    assert told(client, "not used as readings") == (2, 2)
    assert told(client, "of blood and not of the sensor") == (2, 4)
    assert told(client, "a reason for having no value") == (1, 6)
    assert told(client, "entered in error") == (1, 7)
    assert told(client, "of kinds that are not read") == (2, 8)


def test_sampled_data(folder):
    data = {
        "origin": quantity(10), "period": 300000, "factor": 2, "dimensions": 1,
        "data": "45 E L U 46.5",
    }  # fmt: skip
    made = observation(valueSampledData=data)
    client = read(folder, made, zone="Europe/Madrid")
    glucose = client.streams["glucose"]
    # value = origin + factor x datum: 10 + 2 x 45 = 100, 10 + 2 x 46.5 = 103
    assert glucose["glucose"].dropna().tolist() == [100, 103]
    assert glucose["censored"].tolist() == [0, -1, 1, 0]
    minutes = (glucose["clock"] - glucose["clock"][0]).dt.total_seconds() / 60
    assert minutes.tolist() == [0, 10, 15, 20]
    assert str(glucose["clock"][0]) == "2026-03-02 07:05:00"


@pytest.mark.parametrize(
    "status", ["entered-in-error", "Entered-in-Error", "CANCELLED", "Cancelled"]
)
def test_a_withdrawn_observation_is_left_out_whatever_its_case(folder, status):
    client = read(folder, reading(), {**reading(300), "status": status})
    assert client.streams["glucose"]["glucose"].tolist() == [104]
    assert told(client, "entered in error") == (1, 2)


# HL7 FHIR R4, 2.4.0.1: who does not know a modifierExtension must not use the element it is in.
MODIFIER = [{"url": "http://example.org/not-performed", "valueBoolean": True}]


@pytest.mark.parametrize(
    "change",
    [
        {"modifierExtension": MODIFIER},
        {"implicitRules": "http://example.org/rules"},
        {"component": [{"code": {}, "modifierExtension": MODIFIER}]},
    ],
)
def test_an_observation_that_may_mean_something_else_is_left_out(folder, change):
    client = read(folder, reading(), {**reading(300), **change})
    assert client.streams["glucose"]["glucose"].tolist() == [104]
    assert told(client, "may change what they mean") == (1, 2)


def test_many_samples_are_as_many_readings_one_by_one(folder):
    """Against the definition, sample by sample: 4,000 values, one in twenty of them an E."""
    draw = np.random.default_rng(0)
    values = [f"{value:.1f}" for value in draw.uniform(60, 200, 4000)]
    values = ["E" if draw.random() < 0.05 else value for value in values]
    data = {"origin": quantity(5), "period": 90_000, "factor": 1, "dimensions": 1,
            "data": " ".join(values)}  # fmt: skip
    client = read(folder, observation(valueSampledData=data))
    start = np.datetime64("2026-03-02T07:05")
    expected = [
        (start + np.timedelta64(90 * at, "s"), 5 + float(value))
        for at, value in enumerate(values)
        if value != "E"
    ]
    glucose = client.streams["glucose"]
    assert glucose["clock"].tolist() == [moment for moment, _ in expected]
    np.testing.assert_allclose(glucose["glucose"], [value for _, value in expected], atol=1e-9)


def test_sampled_data_over_the_change_of_the_clock(folder):
    data = {"origin": quantity(0), "period": 3600000, "dimensions": 1, "data": "90 91 92 93"}
    # Spain, 29 March 2026: at 02:00 the clock was set to 03:00
    made = observation(time="2026-03-29T00:30:00+01:00", valueSampledData=data)
    clock = read(folder, made, zone="Europe/Madrid").streams["glucose"]["clock"]
    assert clock.dt.strftime("%H:%M").tolist() == ["00:30", "01:30", "03:30", "04:30"]


@pytest.mark.parametrize(
    "change",
    [
        {"period": 0},
        {"period": "x"},
        {"dimensions": 2},
        {"data": "1 2 soup"},
        {"origin": {}},
        {"factor": "NaN"},
        {"period": 1e18},
    ],
)
def test_sampled_data_that_cannot_be_used_is_told(folder, change):
    data = {"origin": quantity(0), "period": 300000, "dimensions": 1, "data": "90 91"}
    made = {**observation(), "valueSampledData": {**data, **change}}
    client = read(folder, reading(), made)
    assert len(client.streams["glucose"]) == 1
    assert told(client, "without a value that can be read") == (1, 2)


@pytest.mark.parametrize("start", ["2026-061T07:05:00Z", "2026-W10-1", "2026-03-02T24:30:00Z"])
def test_samples_from_a_start_that_cannot_be_read_are_told(folder, start):
    data = {"origin": quantity(0), "period": 300000, "dimensions": 1, "data": "90 91"}
    made = {**observation(), "effectiveDateTime": start, "valueSampledData": data}
    client = read(folder, reading(), made)
    assert len(client.streams["glucose"]) == 1
    assert told(client, "without a value that can be read") == (1, 2)


def test_a_night_told_in_parts_is_one_night(folder):
    client = read(
        folder,
        reading(),
        night("93832-4", 415),
        night("93831-6", 60),
        night("93830-8", 255),
        night("93829-0", 100),
        observation("93832-4", valueQuantity=quantity(400, "min")),
        night("93832-4", 30, "2026-03-01T23:50:00+01:00"),
    )
    sleep = client.streams["sleep"]
    columns = ["asleep_min", "deep_min", "light_min", "rem_min"]
    assert sleep.loc[sleep["asleep_min"] == 415, columns].to_numpy().tolist() == [
        [415, 60, 255, 100]
    ]
    assert len(sleep) == 2
    assert told(client, "without a start or an end") == (1, 6)


def test_steps_and_exercise(folder):
    period = {"start": "2026-03-02T19:10:00+01:00", "end": "2026-03-02T19:25:00+01:00"}
    client = read(
        folder,
        reading(),
        observation("41950-7", None, effectivePeriod=period, valueQuantity=quantity(1200, "1")),
        observation("55423-8", None, effectivePeriod=period, valueInteger=300),
        observation("55411-3", "2026-03-02T20:00:00+01:00", valueQuantity=quantity(0.5, "h")),
    )
    activity = client.streams["activity"]
    assert activity["kind"].tolist() == ["steps", "steps", "exercise"]
    assert activity["steps"].tolist()[:2] == [1200, 300]
    assert str(activity["end_clock"][2]) == "2026-03-02 20:30:00"


def test_components_have_the_time_of_their_observation(folder):
    part = {
        "code": {"coding": [{"system": LOINC, "code": "93831-6"}]},
        "valueQuantity": quantity(1, "h"),
    }
    made = {**night("93832-4", 415), "component": [part]}
    Observation.model_validate(made)
    (row,) = read(folder, reading(), made).streams["sleep"].to_dict("records")
    assert (row["asleep_min"], row["deep_min"]) == (415, 60)


def test_a_bundle_tells_the_line_of_each_entry(folder):
    entries = [{"resource": reading(time=f"2026-03-02T07:{m:02d}:00Z")} for m in (0, 5)]
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    Bundle.model_validate(bundle)
    folder.write("bundle.json", json.dumps(bundle, indent=1))
    lines = json.dumps(bundle, indent=1).split("\n")
    glucose = read_client(folder.path).streams["glucose"]
    assert [lines[row - 1] for row in glucose["row"]] == ["  {", "  {"]
    assert glucose["row"].is_unique


def test_a_single_observation(folder):
    folder.write("one.json", json.dumps(reading(), indent=2))
    assert read_client(folder.path).streams["glucose"]["glucose"].tolist() == [104]


FRAME = {"date_time": "2026-03-02T07:05:00+01:00"}
SPAN = {
    "time_interval": {
        "start_date_time": "2026-03-01T23:10:00+01:00",
        "end_date_time": "2026-03-02T06:40:00+01:00",
    }
}
GLUCOSE = {
    "blood_glucose": {"value": 104, "unit": "mg/dL"},
    "effective_time_frame": FRAME,
    "specimen_source": "interstitial fluid",
}


def point(body, name="blood-glucose", namespace="omh"):
    schema = {"namespace": namespace, "name": name, "version": "4.0"}
    header = {"id": "x", "creation_date_time": "2026-03-03T00:00:00Z", "schema_id": schema}
    return {"header": header, "body": body}


def test_readings_of_open_mhealth(folder):
    at = {"effective_time_frame": {"date_time": "2026-03-02T07:15:00+01:00"}}
    client = read(
        folder,
        point(GLUCOSE),
        point([{**GLUCOSE, **at, "blood_glucose": {"value": 5.4, "unit": "mmol/L"}}]),
        point({**GLUCOSE, "descriptive_statistic": "average"}),
        point({**GLUCOSE, "specimen_source": "capillary blood"}),
        point({**GLUCOSE, "effective_time_frame": SPAN}),
        point({**GLUCOSE, "blood_glucose": {"value": "", "unit": "mg/dL"}}),
        point(["", 7]),
    )
    assert client.streams["glucose"]["glucose"].round(2).tolist() == [104, 97.28]
    assert told(client, "not used as readings") == (2, 3)
    assert told(client, "of blood and not of the sensor") == (1, 4)
    assert told(client, "without a value that can be read") == (1, 6)
    assert told(client, "of kinds that are not read") == (2, 7)


def interval(**keys):
    return {"effective_time_frame": {"time_interval": keys}}


@pytest.mark.parametrize(
    "keys",
    [
        SPAN["time_interval"],
        {
            "start_date_time": "2026-03-01T23:10:00+01:00",
            "duration": {"value": 7.5, "unit": "h"},
        },
        {
            "end_date_time": "2026-03-02T06:40:00+01:00",
            "duration": {"value": 450, "unit": "min"},
        },
    ],
)
@pytest.mark.parametrize(
    ("body", "name", "namespace"),
    [
        ({"total_sleep_time": {"value": 415, "unit": "min"}}, "total-sleep-time", "ieee"),
        ({"sleep_duration": {"value": 415, "unit": "min"}}, "sleep-duration", "omh"),
        (
            {
                "total_sleep_time": {"value": 415, "unit": "min"},
                "number_of_awakenings": 3,
                "is_main_sleep": True,
            },
            "sleep-episode",
            "omh",
        ),
    ],
)
def test_sleep_by_each_schema_and_each_interval(folder, keys, body, name, namespace):
    client = read(folder, point(GLUCOSE), point({**body, **interval(**keys)}, name, namespace))
    (row,) = client.streams["sleep"].to_dict("records")
    assert row["asleep_min"] == 415
    assert str(row["start_clock"]) == "2026-03-01 23:10:00"
    assert str(row["end_clock"]) == "2026-03-02 06:40:00"
    assert row["kind"] == ("main" if name == "sleep-episode" else "")


def test_activity_steps_and_stress(folder):
    walk = {
        "activity_name": "walking",
        "base_movement_quantity": {"value": 1200, "unit": "steps"},
        "reported_activity_intensity": "light",
        **interval(
            start_date_time="2026-03-02T19:10:00+01:00", duration={"value": 15, "unit": "min"}
        ),
    }
    day = interval(start_date_time="2026-03-02T00:00:00+01:00", duration={"value": 24, "unit": "h"})
    client = read(
        folder,
        point(GLUCOSE),
        point(walk, "physical-activity", "ieee"),
        point({"step_count": {"value": 8200, "unit": "steps"}, **day}, "step-count"),
        {"step_count": 10, **day},
        point({"stress": {"value": 80, "unit": "1"}, "effective_time_frame": SPAN}, "stress"),
        point({"sleep_stage_state": "deep", "effective_time_frame": SPAN}, "sleep-stage"),
        point({"step_count": {"value": 5, "unit": "steps"}}, "step-count"),
    )
    activity = client.streams["activity"]
    assert activity["kind"].tolist() == ["steps", "steps", "walking"]
    assert activity["steps"].tolist() == [8200, 10, 1200]
    assert activity["intensity"].tolist()[2] == "light"
    assert client.streams["stress"]["level"].tolist() == [80]
    assert told(client, "of kinds that are not read") == (1, 6)
    assert told(client, "without a start or an end") == (1, 7)


def test_a_line_that_is_not_json_is_counted(folder):
    folder.write("r.ndjson", json.dumps(reading()) + "\n{oops\n\n" + json.dumps(reading(99)))
    client = read_client(folder.path)
    assert told(client, "not JSON") == (1, 2)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{oops", "this is not valid JSON"),
        ("[" * 100_000, "this is not valid JSON"),
        ('{"a": 1}', "this file holds no FHIR Observation"),
        ("[1, 2]", "this file holds no FHIR Observation"),
        ('"text"', "this file holds no FHIR Observation"),
        ("", "there are no glucose readings"),
        (json.dumps({"resourceType": "Patient"}), "there are no glucose readings"),
    ],
)
def test_what_is_no_record_is_told(folder, text, said):
    folder.write("r.json", text)
    with pytest.raises(MinerError) as error:
        read_client(folder.path)
    assert said in error.value.message or "nested too deeply" in error.value.message


def test_records_beside_a_table_are_one_stream(folder):
    folder.steady_glucose("2026-03-02", 12)
    times = [datetime(2026, 3, 2, 10) + timedelta(minutes=5 * at) for at in range(48)]
    values = [100 + (120 + at) % 7 for at in range(48)]
    made = [
        reading(value, time=f"{time.isoformat()}Z")
        for time, value in zip(times, values, strict=True)
    ]
    client = read(folder, *made)
    assert len(client.used("glucose")) == 14 * 12
    assert told(client, "found twice") == (24, 1)


BASE = [
    reading(),
    observation(
        valueSampledData={
            "origin": quantity(0),
            "period": 300000,
            "dimensions": 1,
            "data": "90 91 E",
        }
    ),
    night("93832-4", 415),
    point(GLUCOSE),
    point(
        {"total_sleep_time": {"value": 415, "unit": "min"}, "effective_time_frame": SPAN},
        "total-sleep-time",
    ),
]
odd = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=4,
)


def changed(value, path, put):
    """Put something else where a path of numbers leads inside nested lists and dicts."""
    if not path or not isinstance(value, dict | list) or not value:
        return put
    keys = sorted(value) if isinstance(value, dict) else range(len(value))
    key = keys[path[0] % len(keys)]
    copy = dict(value) if isinstance(value, dict) else list(value)
    copy[key] = changed(value[key], path[1:], put)
    return copy


FUZZ_TIMES = int(os.environ.get("FUZZ_TIMES", "1"))


@pytest.mark.cases
@settings(max_examples=60 * FUZZ_TIMES, derandomize=True, deadline=None, phases=[Phase.generate])
@given(edits=st.lists(st.tuples(st.lists(st.integers(0, 9), max_size=6), odd), max_size=3))
def test_nothing_inside_a_record_is_a_traceback(tmp_path_factory, edits):
    records = BASE
    for path, put in edits:
        records = changed(records, path, put)
    folder = tmp_path_factory.mktemp("fhir")
    listed = records if isinstance(records, list) else [records]
    (folder / "r.ndjson").write_text("\n".join(json.dumps(each) for each in listed))
    (folder / "b.json").write_text(json.dumps({"entry": [{"resource": r} for r in listed]}))
    parts = ("read", "as", "it is")
    try:
        read_client(folder)
    except MinerError as error:
        parts = (error.found, error.expected, error.do)
    assert all(parts)
