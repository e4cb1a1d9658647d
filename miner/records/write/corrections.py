"""The file of corrections: meals and tags that were added, mended or taken out, row by row.

A row is never changed or removed: what is taken back is taken back by a row of its own. So the
row that a value came from keeps its number, and the file says what was thought when.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from miner.core.files import plain_cell, safe_cell
from miner.core.messages import Message, MinerError, Severity, closest, message
from miner.records.columns import COLUMNS
from miner.records.findings import Findings
from miner.records.read.files import read_bytes
from miner.records.read.table_file import RawTable
from miner.records.write.as_text import clock_text

NAME = "corrections.csv"
CORRECTED = ("meals", "tags")
"""The streams that can be corrected: what the client notes, not what a device measures."""

_HEAD = ("entered", "stream", "file", "row", "was")
LARGEST_BYTES = 5_000_000
_WHOLE = re.compile(r"[0-9]{1,9}")

Place = tuple[str, int]


def columns_to_write(stream: str) -> tuple[str, ...]:
    """Return the columns of a stream that a correction may give, its times first."""
    spec = COLUMNS[stream]
    return (*spec.times, *spec.texts, *spec.choices, *spec.numbers)


HEADER = (*_HEAD, *dict.fromkeys(chain.from_iterable(map(columns_to_write, CORRECTED))))


@dataclass(frozen=True, slots=True)
class Correction:
    """One row of the file.

    Attributes:
        row: its line, from 1; 0 where it is not written yet.
        entered: when, ISO 8601.
        stream: meals or tags.
        target: the file and row that it corrects; None if it adds a record.
        was: what was read there, as :func:`miner.records.write.corrections.described` returns it.
        values: the record that holds instead, the stream's columns as text; none where the record
            is taken out, or, of a row of this file, where that row is taken back.
    """

    row: int
    entered: str
    stream: str
    target: Place | None
    was: Mapping[str, Any]
    values: Mapping[str, str]

    @property
    def takes_back(self) -> bool:
        """Whether it takes back another row of this file."""
        return self.target is not None and self.target[0] == NAME and not self.values


def read_corrections(folder: Path, findings: Findings) -> tuple[Correction, ...]:
    """Read the corrections of a client folder in their order; none without a file.

    Args:
        folder: the client's folder.
        findings: gets the rows that cannot be used.

    Raises:
        MinerError: it is a link, not a text with commas, or its columns are not these.
    """
    found: dict[int, Correction] = {}
    for row, cells in _rows(raw_of(folder, NAME)):
        item = _read(row, cells, found)
        if isinstance(item, Correction):
            found[row] = item
        else:
            findings.add(
                Severity.LEFT_OUT, "correction_unusable", file=NAME, row=row, values={"why": item}
            )
    return tuple(found.values())


def raw_of(folder: Path, name: str) -> bytes:
    """Return the bytes of a file that is written for the practitioner; none where there is none.

    Raises:
        MinerError: it is a link, or cannot be read.
    """
    path = folder / name
    if path.is_symlink():
        raise MinerError("records.link", file=name)
    return read_bytes(path, name, LARGEST_BYTES) if path.exists() else b""


def text_of(raw: bytes, name: str, code: str) -> str:
    """Return such a file as text.

    Raises:
        MinerError: it is none; the code says so.
    """
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise MinerError(code, file=name, row=raw.count(b"\n", 0, error.start) + 1) from error


def not_taken_back(corrections: Sequence[Correction]) -> tuple[Correction, ...]:
    """Return the corrections that no later row takes back, without the rows that take one back."""
    back: set[int] = set()
    for item in reversed(corrections):
        if item.takes_back and item.target and item.row not in back:
            back.add(item.target[1])
    return tuple(item for item in corrections if item.row not in back and not item.takes_back)


def standing(corrections: Sequence[Correction]) -> tuple[Correction, ...]:
    """Return the corrections that hold: not taken back, and none later of the same record.

    A record that was added and mended later has both of its rows here.
    """
    left = not_taken_back(corrections)
    last = {item.target: item.row for item in left}
    here = {item.row for item in left}
    return tuple(
        item
        for item in left
        if item.target is None
        or (last[item.target] == item.row and (item.target[0] != NAME or item.target[1] in here))
    )


def with_one_more(raw: bytes, correction: Correction) -> tuple[bytes, int]:
    """Return the file with one row added at its end, and the line of that row.

    What is in it stays byte for byte, but for columns that its header lacks.
    """
    if not raw.strip():
        raw = _line(HEADER, "\n")
    end = "\r\n" if b"\r\n" in raw else "\n"
    text = _text(raw)
    header = tuple(next(csv.reader(io.StringIO(text, newline=""))))
    lacking = [name for name in HEADER if name not in header]
    if lacking:
        header = (*header, *lacking)
        raw = _line(header, end) + raw[raw.find(b"\n") + 1 or len(raw) :]
    if not raw.endswith((b"\n", b"\r")):
        raw += end.encode()
    reader = csv.reader(io.StringIO(_text(raw), newline=""))
    for _ in reader:
        pass
    return raw + _line(_cells(correction, header), end), reader.line_num + 1


def _line(cells: Sequence[str], end: str) -> bytes:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator=end).writerow(cells)
    return buffer.getvalue().encode()


def _text(raw: bytes) -> str:
    """Return the file of corrections as text.

    Raises:
        MinerError: it is none.
    """
    text = text_of(raw, NAME, "records.corrections_not_utf8")
    if "\0" in text:
        row = raw.count(b"\n", 0, raw.index(0)) + 1
        raise MinerError("records.corrections_with_zero_byte", file=NAME, row=row)
    return text


def _rows(raw: bytes) -> Iterator[tuple[int, Mapping[str, str]]]:
    """Yield the line and the cells of each row below the header.

    Raises:
        MinerError: it is not a text with commas, or its columns are not these.
    """
    reader = csv.reader(io.StringIO(_text(raw), newline=""))
    header: tuple[str, ...] = ()
    try:
        after = 1
        for cells in reader:
            row, after = after, reader.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = tuple(cell.strip() for cell in cells)
                _check_header(header, row)
                continue
            given = zip(header, (plain_cell(cell.strip()) for cell in cells), strict=False)
            yield row, dict.fromkeys(header, "") | dict(given) | {"": "".join(cells[len(header) :])}
    except csv.Error as error:
        raise MinerError(
            "records.corrections_unreadable", file=NAME, row=reader.line_num, error=str(error)
        ) from error


def _cells(item: Correction, header: Sequence[str]) -> list[str]:
    file, row = item.target or ("", 0)
    known = {
        "entered": item.entered,
        "stream": item.stream,
        "file": file,
        "row": str(row) if row else "",
        "was": json.dumps(item.was, ensure_ascii=False) if item.was else "",
        **item.values,
    }
    return [safe_cell(known.get(name, "")) for name in header]


def _check_header(header: tuple[str, ...], row: int) -> None:
    twice = [name for name in header if header.count(name) > 1]
    missing = [name for name in _HEAD if name not in header]
    strange = [name for name in header if name and name not in HEADER]
    faults = (("twice", twice), ("strange", strange), ("missing", missing))
    fault, names = next((each for each in faults if each[1]), ("", []))
    if fault:
        raise MinerError(
            f"records.corrections_column_{fault}",
            file=NAME,
            row=row,
            column=names[0][:60],
            known=HEADER,
            close=closest(strange[0], HEADER) if strange else None,
        )


def _read(
    row: int, cells: Mapping[str, str], before: Mapping[int, Correction]
) -> Correction | Message:
    """Return a row as a correction, or what is wrong with it."""
    stream, file, number = cells["stream"], cells.get("file", ""), cells.get("row", "")
    if cells[""].strip():
        return message("records.correction_too_long")
    if stream not in CORRECTED:
        return message("records.correction_of_stream", stream=stream[:20])
    if bool(file) != bool(number) or (number and not _WHOLE.fullmatch(number)):
        return message("records.correction_of_place", file=file[:40], row=number[:20])
    own = columns_to_write(stream)
    values = {name: cells[name] for name in own if cells.get(name)}
    other = [name for name in HEADER if name not in (*_HEAD, *own) and cells.get(name)]
    if other:
        return message("records.correction_of_column", column=other[0], stream=stream)
    target = (file, int(number)) if file else None
    if not values and not target:
        return message("records.correction_of_nothing")
    was = _was(cells.get("was", ""))
    item = Correction(row, cells["entered"], stream, target, was or {}, values)
    if file == NAME:
        first = before.get(int(number))
        if first is None or (values and first.target is not None):
            kind = "mended" if values else "taken_back"
            return message(f"records.correction_of_none_{kind}", row=number)
    if was is None or (target and not was and not item.takes_back):
        return message("records.correction_of_unread")
    return item


def _was(cell: str) -> dict[str, Any] | None:
    try:
        found = json.loads(cell or "{}")
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


NEAR = pd.Timedelta(minutes=15)
Record = dict[Hashable, Any]
Records = Mapping[int, Record]
Corrections = Sequence[Correction]
Read = Callable[[RawTable, str, Findings], pd.DataFrame]
_TAKE_BACK = "records.take_correction_back"


@dataclass(slots=True)
class Corrected:
    """The streams as corrected, and what was done.

    Attributes:
        streams: by name, every stream that was given.
        replaced: (file, row) of a corrected record -> that of the record it replaces.
        added: (file, row) of each record that the files do not hold.
        done: what each correction in force replaced and by what, in an order of its own; the same
            corrections of the same records give the same, whatever was taken back meanwhile.
    """

    streams: dict[str, pd.DataFrame]
    replaced: dict[Place, Place] = field(default_factory=dict)
    added: list[Place] = field(default_factory=list)
    done: list[str] = field(default_factory=list)


def described(stream: str, row: Mapping[Any, Any]) -> dict[str, Any]:
    """Return a record as it was read: its times on the wall clock and whatever else is known.

    Args:
        stream: meals or tags.
        row: a row of that stream's frame, before tags are joined.
    """
    spec = COLUMNS[stream]
    first = "start" if spec.interval else "time"
    told: dict[str, Any] = {first: clock_text(row[f"{first}_clock" if spec.interval else "clock"])}
    if spec.interval and row["end"] != row["start"]:
        told["end"] = clock_text(row["end_clock"])
    told |= {name: str(row[name]) for name in (*spec.texts, *spec.choices) if row[name]}
    amounts = {name: float(row[name]) for name in spec.numbers}
    known = {name: value for name, value in amounts.items() if value == value}
    return told | {name: int(v) if v.is_integer() else v for name, v in known.items()}


def correct(
    streams: Mapping[str, pd.DataFrame],
    corrections: Corrections,
    read: Read,
    findings: Findings,
) -> Corrected:
    """Apply every correction that holds.

    A record is found by what was read there, in the row where it was or wherever a newer export
    has put it. One that says something else now is left as it is, and the correction is void.

    Args:
        streams: in time order, each record once.
        corrections: in the order of their file.
        read: reads a table as rows of a stream, as ``read_added`` does.
        findings: gets what was done, and what could not be.
    """
    out = Corrected(dict(streams))
    in_force = [item for item in standing(corrections) if item.stream in streams]
    for stream in dict.fromkeys(item.stream for item in in_force):
        own = [item for item in in_force if item.stream == stream]
        records = _records(own, stream, read, findings)
        own = [item for item in own if not item.values or item.row in records]
        mended = [item for item in own if _of_files(item)]
        _replace(out, stream, mended, records, findings)
        _add(out, stream, [item for item in own if item not in mended], records, findings)
    out.done.sort()
    _tell_done(out, findings)
    return out


def _of_files(item: Correction) -> bool:
    """Say whether a correction is about a row of a file of the client."""
    return item.target is not None and item.target[0] != NAME


def _records(own: Corrections, stream: str, read: Read, findings: Findings) -> Records:
    """Return the records that corrections give, by row; what cannot be used is reported."""
    given = [item for item in own if item.values]
    if not given:
        return {}
    spec = COLUMNS[stream]
    said = {spec.times[0], *spec.needed}.union(*(item.values for item in given))
    names = [name for name in columns_to_write(stream) if name in said]
    cells = pd.DataFrame(
        [{name: item.values.get(name, "") for name in names} for item in given], dtype="str"
    )
    rows = np.array([item.row for item in given], dtype=np.int64)
    table = RawTable(NAME, cells.mask(cells == ""), rows)
    told = Findings()
    frame = read(table, stream, told)
    if frame.empty and len(given) > 1:
        # one by one: a column in which no time at all can be read would stop the stream
        told = Findings()
        frame = pd.concat(
            [read(table.keep(rows == row), stream, told) for row in rows], ignore_index=True
        )
    for item in told.items:
        severity = Severity.LEFT_OUT if item.severity is Severity.STOP else item.severity
        findings.items.append(replace(item, severity=severity, instead=_TAKE_BACK))
    return {int(row["row"]): row for row in frame.to_dict("records")}


def _replace(
    out: Corrected, stream: str, own: Corrections, records: Records, findings: Findings
) -> None:
    """Put corrections in place of the rows that they correct."""
    frame = out.streams[stream]
    taken: dict[int, Correction] = {}
    for item in own:
        same = [at for at in same_records(frame, stream, item.was) if at not in taken]
        places = list(zip(frame["file"].iloc[same], frame["row"].iloc[same], strict=True))
        if not same:
            _tell(Severity.QUESTION, "correction_void", item, findings)
            continue
        at = same[places.index(item.target) if item.target in places else 0]
        taken[at] = item
        if item.target not in places:
            _tell(Severity.NOTE, "corrected_row_moved", item, findings)
    for at, item in taken.items():
        told = described(stream, records[item.row]) if item.values else None
        out.done.append(_told(stream, item.was, told))
        if item.values:
            place = str(frame["file"].iloc[at]), int(frame["row"].iloc[at])
            out.replaced[NAME, item.row] = place
    kept = frame.drop(index=frame.index[list(taken)])
    out.streams[stream] = _with(kept, [records[i.row] for i in taken.values() if i.values])


def _add(
    out: Corrected, stream: str, own: Corrections, records: Records, findings: Findings
) -> None:
    """Add the records that the files do not hold, each as it was mended last."""
    last = {item.row: item.row for item in own if item.target is None}
    for item in own:
        if item.target is None:
            continue
        first = records.get(item.target[1])
        if first is not None and described(stream, first) == item.was:
            last[item.target[1]] = item.row
        else:
            _tell(Severity.QUESTION, "correction_void", item, findings)
    frame = out.streams[stream]
    begin = frame.columns[0]
    new: dict[int, dict[str, Any]] = {}
    for row in last.values():
        told = described(stream, records[row])
        if told in new.values() or same_records(frame, stream, told):
            findings.add(Severity.NOTE, "added_twice", file=NAME, row=row)
            continue
        new[row] = told
        near = (frame[begin] - records[row][begin]).abs() <= NEAR
        if stream == "meals" and near.any():
            findings.add(Severity.NOTE, "meal_added_near", file=NAME, row=row)
    out.streams[stream] = _with(frame, [records[row] for row in new])
    out.added += [(NAME, row) for row in new]
    out.done += [_told(stream, None, told) for told in new.values()]


def same_records(frame: pd.DataFrame, stream: str, told: Mapping[str, Any]) -> list[int]:
    """Return the places of the records that say exactly this."""
    interval = COLUMNS[stream].interval
    try:
        at = datetime.fromisoformat(str(told["start" if interval else "time"]))
    except (KeyError, ValueError):
        return []
    if at.tzinfo is not None:
        return []
    clock = frame["start_clock" if interval else "clock"]
    places = np.flatnonzero((clock == at).to_numpy())
    return [int(k) for k in places if described(stream, frame.iloc[int(k)].to_dict()) == told]


def _with(frame: pd.DataFrame, records: Sequence[Record]) -> pd.DataFrame:
    """Return a stream in time order with more records."""
    if not records:
        return frame.reset_index(drop=True)
    more = pd.DataFrame(list(records))[list(frame.columns)].astype(frame.dtypes.to_dict())
    both = pd.concat([frame, more], ignore_index=True) if len(frame) else more
    return both.sort_values(frame.columns[0], kind="stable", ignore_index=True)


def _told(stream: str, was: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> str:
    return repr([stream, was and sorted(was.items()), now and sorted(now.items())])


def _tell(severity: Severity, code: str, item: Correction, findings: Findings) -> None:
    file, row = item.target or ("", 0)
    values = {"target": file, "target_row": row}
    findings.add(severity, code, file=NAME, row=item.row, values=values)


def _tell_done(out: Corrected, findings: Findings) -> None:
    removed = len(out.done) - len(out.replaced) - len(out.added)
    counts = ((len(out.added), "added"), (len(out.replaced), "mended"), (removed, "taken_out"))
    done = tuple(message(f"records.{word}", n=many) for many, word in counts if many)
    if done:
        values, count = {"done": done}, len(out.done)
        findings.add(Severity.NOTE, "records_corrected", file=NAME, count=count, values=values)
