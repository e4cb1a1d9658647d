"""A client's records as files of their own, which read back as the same streams.

Tables with times with their offset and numbers in full, or Observations of HL7 FHIR R4: readings,
sleep and steps have LOINC codes; what has none is written under this program's own names.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd
import tomlkit

from miner.core.files import FORMULA, safe_cell
from miner.core.messages import MinerError
from miner.records.check.sensor import numbered
from miner.records.client import STREAMS, Client, Settings
from miner.records.columns import COLUMNS, CONTRADICTED, MG_DL_PER_MMOL_L, NO_END, NO_TIME
from miner.records.read.discover import practice_of
from miner.records.read.fhir import COLUMN_SYSTEM, LOINC, MOLAR, OWN_COLUMNS, STREAM_SYSTEM
from miner.records.read.files import read_toml
from miner.records.read.settings import PracticeFile
from miner.records.read.text_file import as_utf8
from miner.records.text_columns import fold
from miner.records.write.as_text import is_zoned, number, written_times

UNREADABLE = "unreadable"
_CENSORED = {-1: "LO", 1: "HI"}


def cells_of(client: Client, stream: str) -> pd.DataFrame:
    """Return one stream as text: the columns of its own file, those without a value left out.

    Records that would look the same are numbered under ``entry``, so that each is read again.

    Args:
        client: as read.
        stream: one of the six.
    """
    frame, zoned, spec = client.streams[stream], is_zoned(client), COLUMNS[stream]
    pairs = {"start": "start_clock", "end": "end_clock"} if spec.interval else {"time": "clock"}
    cells = _times(frame, pairs, zoned=zoned)
    if stream == "tags":
        moment = frame["date_only"] & (frame["end"] == frame["start"])
        for name in pairs:
            cells[name] = cells[name].mask(moment, cells[name].str[:10])
    if spec.interval:
        cells["end"] = cells["end"].mask(frame["left_out"] == NO_END, "")
    if stream == "meals":
        dated = frame["left_out"] == NO_TIME
        cells["time"] = cells["time"].mask(dated, cells["time"].str[:10])
    if stream == "glucose":
        value = glucose_column(frame)
        cells[value] = _readings(frame, value)
        frame = as_named(frame, client.settings)
    cells |= {name: _texts(frame[name]) for name in spec.values if name in frame.columns}
    table = pd.DataFrame(cells, dtype="str")
    kept = [name for name in table if name in (*pairs, *spec.needed) or (table[name] != "").any()]
    if stream == "glucose" and value not in kept:
        kept.append(value)
    table = table[kept]
    if stream != "glucose" and table.duplicated().any():
        table = table.assign(entry=table.groupby(list(table)).cumcount().astype("str"))
    return table


def as_named(glucose: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return the readings with the sensors that a file named, without the numbers given here."""
    if not settings.sensor_changes or glucose.empty:
        return glucose
    known = glucose["sensor"] == numbered(glucose, settings)
    return glucose.assign(sensor=glucose["sensor"].mask(known, ""))


def worn_cells(client: Client, stream: str) -> pd.DataFrame:
    """Return when the tracker measured a stream, as text: ``start`` and ``end``."""
    pairs = {"start": "start_clock", "end": "end_clock"}
    return pd.DataFrame(_times(client.worn[stream], pairs, zoned=is_zoned(client)), dtype="str")


def _times(
    frame: pd.DataFrame, pairs: Mapping[str, str], *, zoned: bool
) -> dict[str, pd.Series[str]]:
    times = {
        name: (frame[name].to_numpy(), frame[clock].to_numpy()) for name, clock in pairs.items()
    }
    return {name: written_times(*both, zoned=zoned) for name, both in times.items()}


def glucose_column(frame: pd.DataFrame) -> str:
    """Return the column in which readings are written: that of the unit they were measured in."""
    return "glucose_mmol_l" if (frame["unit"] == "mmol/L").all() else "glucose_mg_dl"


def _readings(frame: pd.DataFrame, column: str) -> pd.Series[str]:
    scale = MG_DL_PER_MMOL_L if column == "glucose_mmol_l" else 1.0
    text = _texts((frame["glucose"] / scale).round(12))
    for code, word in _CENSORED.items():
        text = text.mask(frame["censored"] == code, word)
    return text.mask(text == "", UNREADABLE)


def _texts(column: pd.Series) -> pd.Series[str]:
    if not pd.api.types.is_numeric_dtype(column):
        return column.fillna("").astype("str")
    return pd.Series([number(value) for value in column], dtype="str")


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
        made["component"] = []
    for name in given:
        part: Observation = {"code": {"coding": [{"system": COLUMN_SYSTEM, "code": name}]}}
        if name in numbers:
            part["valueQuantity"] = _quantity(row[name], _UNITS[numbers[name].unit])
        else:
            part["valueString"] = row[name]
        made["component"].append(part)
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


WRITTEN = {name for spec in COLUMNS.values() for name in spec.texts}


def traces(client: Client) -> list[Client]:
    """Return the client once for each unit of glucose, and each file where files contradict."""
    glucose = client.streams["glucose"]
    apart = ["unit", "file"] if (glucose["left_out"] == CONTRADICTED).any() else ["unit"]
    named = as_named(glucose, client.settings)
    parts = [part.reset_index(drop=True) for _, part in named.groupby(apart, sort=True)]
    if len(parts) < 2:
        return [client]
    return [replace(client, streams={**client.streams, "glucose": part}) for part in parts]


def csv_files(client: Client) -> Iterator[tuple[str, bytes]]:
    """Give the streams by the name of their file, and when those that were sampled were worn."""
    for at, part in enumerate(traces(client), 1):
        for stream in STREAMS if at == 1 else ("glucose",):
            cells = cells_of(part, stream)
            if not cells.empty:
                yield f"{stream}.csv" if at == 1 else f"{stream}-{at}.csv", _bytes(cells)
    for stream in client.worn:
        yield f"worn-{stream}.csv", _bytes(worn_cells(client, stream))
    if client.worn:
        yield "sources.toml", "\n".join(map(_worn_entry, client.worn)).encode()


def _worn_entry(stream: str) -> str:
    """Return the mapping of the file that says when a stream was measured."""
    head = ("[[source]]", f'file = "worn-{stream}.csv"', f'stream = "{stream}"', "worn = true")
    return "\n".join([*head, "[source.columns]", 'start = "start"', 'end = "end"', ""])


def _bytes(cells: pd.DataFrame) -> bytes:
    written = [name for name in cells if name in WRITTEN]
    cells = cells.assign(**{name: cells[name].map(safe_cell) for name in written})
    return cells.to_csv(index=False, lineterminator="\n").encode()


def inert(name: str, raw: bytes) -> bytes:
    """Return a comma-separated file that somebody typed with no cell that a spreadsheet runs.

    A file without such a cell stays as it is, to the byte; so does one that is no text.
    """
    try:
        text = as_utf8(name, raw, None).decode("utf-8")
        rows = list(csv.reader(io.StringIO(text, newline="")))
    except (MinerError, csv.Error):
        return raw
    quiet = [[_inert(cell) for cell in row] for row in rows]
    if quiet == rows:
        return raw
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(quiet)
    return out.getvalue().encode()


def _inert(cell: str) -> str:
    """Return a cell as typed, unless it begins like a formula, blanks or not: they are no part."""
    bare = cell.lstrip()
    if bare.startswith(FORMULA):
        return safe_cell(bare)
    return bare if cell.startswith(FORMULA) else cell


def settings_of(client: Client) -> dict[str, bytes]:
    """Return ``client.toml`` with what the practice says where the client's own says nothing."""
    path, practice = client.folder / "client.toml", practice_of(client.folder, None)
    held = path.read_bytes() if path.is_file() else None
    shared = read_toml(practice / "practice.toml", PracticeFile) if practice else PracticeFile()
    said = shared.model_dump(exclude_unset=True)
    if not said:
        return {} if held is None else {path.name: held}
    document = tomlkit.parse((held or b"").decode("utf-8-sig"))
    for key, value in said.items():
        own = document.setdefault(key, tomlkit.table() if isinstance(value, Mapping) else value)
        if isinstance(value, Mapping):
            known = {fold(word) for word in own}
            for word, meant in value.items():
                if fold(word) not in known:
                    own[word] = meant
    return {path.name: tomlkit.dumps(document).encode("utf-8")}
