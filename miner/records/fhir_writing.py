"""Writes a client's records as Observations of HL7 FHIR R4.

Readings, sleep and steps have LOINC codes; what has none is written under this program's own
names, each column a component.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from miner.records.client import STREAMS, Client
from miner.records.columns import COLUMNS
from miner.records.fhir import COLUMN_SYSTEM, LOINC, MOLAR, OWN_COLUMNS, STREAM_SYSTEM
from miner.records.writing import UNREADABLE, cells_of

UCUM = "http://unitsofmeasure.org"
_UNITS = {"min": "min", "g": "g", "kcal": "kcal", "count": "1", "level": "1"}
_READINGS = {"glucose_mg_dl": ("99504-3", "mg/dL"), "glucose_mmol_l": (MOLAR, "mmol/L")}
Observation = dict[str, Any]


def observations(client: Client, streams: Sequence[str] = STREAMS) -> Iterator[Observation]:
    """Yield one Observation a record, stream after stream.

    Args:
        client: as read; its times are instants.
        streams: which of the six.
    """
    subject = {"reference": f"Patient/{_id(client.settings.code)}"}
    for stream in streams:
        cells = cells_of(client, stream)
        names = list(cells.columns)
        for values in cells.itertuples(index=False, name=None):
            row = dict(zip(names, map(str, values), strict=True))
            made = _reading(row) if stream == "glucose" else _record(stream, row)
            yield {"resourceType": "Observation", "status": "final", "subject": subject, **made}


def _id(code: str) -> str:
    plain = "".join(
        mark if mark.isascii() and (mark.isalnum() or mark in "-.") else "-" for mark in code
    )
    return plain[:64] or "client"


def _reading(row: dict[str, str]) -> Observation:
    column = next(name for name in _READINGS if name in row)
    value, (code, unit) = row[column], _READINGS[column]
    made: Observation = {
        "code": {"coding": [{"system": LOINC, "code": code}]},
        "effectiveDateTime": row["time"],
    }
    if row.get("sensor"):
        made["device"] = {"display": row["sensor"]}
    if value in ("LO", "HI", UNREADABLE):
        return {**made, "valueString": value}
    return {**made, "valueQuantity": _quantity(value, unit)}


def _record(stream: str, row: dict[str, str]) -> Observation:
    made: Observation = {"code": {"coding": [{"system": STREAM_SYSTEM, "code": stream}]}}
    if "time" in row:
        made["effectiveDateTime"] = row["time"]
    else:
        made["effectivePeriod"] = {name: row[name] for name in ("start", "end") if row[name]}
    _add_loinc(made, stream, row)
    numbers = COLUMNS[stream].numbers
    given = [name for name in (*OWN_COLUMNS[stream], "entry") if row.get(name)]
    if given:
        made["component"] = [
            {
                "code": {"coding": [{"system": COLUMN_SYSTEM, "code": name}]},
                **(
                    {"valueQuantity": _quantity(row[name], _UNITS[numbers[name].unit])}
                    if name in numbers
                    else {"valueString": row[name]}
                ),
            }
            for name in given
        ]
    return made


def _add_loinc(made: Observation, stream: str, row: dict[str, str]) -> None:
    """Add the LOINC code and its value where there is one, for programs that know only these."""
    total, steps = row.get("asleep_min"), row.get("steps")
    if stream == "sleep" and total:
        code, value = "93832-4", _quantity(total, "min")
    elif stream == "activity" and steps and row.get("kind") == "steps":
        code, value = "55423-8", _quantity(steps, "1")
    else:
        return
    made["code"]["coding"].append({"system": LOINC, "code": code})
    made["valueQuantity"] = value


def _quantity(value: str, unit: str) -> Observation:
    number = float(value)
    whole = int(number) if number.is_integer() else number
    return {"value": whole, "unit": unit, "system": UCUM, "code": unit}
