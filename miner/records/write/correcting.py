"""Puts corrections in place of what the files hold, and reports each that no longer fits."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from miner.core.messages import Severity, message
from miner.records.columns import COLUMNS
from miner.records.findings import Findings
from miner.records.read.table_file import RawTable
from miner.records.write.as_text import clock_text
from miner.records.write.corrections import NAME, Correction, Place, columns_to_write, standing

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
        replaced: (file, row) of a corrected record -> that of the record it stands in place of.
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

    A record is found by what was read there, in the row where it stood or wherever a newer export
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
    """Say whether a correction speaks of a row of a file that came in."""
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
    """Put corrections in place of the rows of the files that they speak of."""
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
