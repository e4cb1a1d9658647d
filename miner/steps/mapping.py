"""Proposes how a file could be read; writes the entries where asked, and takes them back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from pathlib import Path, PurePath
from typing import Any

import pandas as pd
from pydantic import ValidationError

from miner.core.messages import MinerError, expected_of
from miner.core.results import Finding
from miner.core.results.mapping import Loss, Mapped, Undecided
from miner.records.check.plausible import without_impossible_dates
from miner.records.client import STREAMS
from miner.records.client_folder import parts_of
from miner.records.columns import COLUMNS, DURATION, TIME_OF_DAY, UTC_OFFSET, known_columns
from miner.records.findings import Findings
from miner.records.propose.propose import propose
from miner.records.propose.saved import as_toml, pattern_of, put_entries, take_back
from miner.records.read.discover import (
    STANDARD,
    TABLES,
    FoundFile,
    mapped_by,
    own_patterns,
    practice_of,
)
from miner.records.read.files import read_bytes
from miner.records.read.settings import read_settings
from miner.records.read.sources import Source, read_sources
from miner.records.stream_file import Part
from miner.records.write.settings_file import WRITING


def map_file(
    path: Path,
    *,
    answers: Mapping[str, str] | None = None,
    client: Path | None = None,
    write: bool = False,
    practice: bool = False,
) -> Mapped:
    """Propose the entries of ``sources.toml`` for a file, one for each stream it feeds.

    Args:
        path: the file, in a client's folder.
        answers: what a person says, by key of the entry or of a question.
        client: the client's folder; by default the one the file is in.
        write: put the entries in place of those that read the file now.
        practice: for every client: in the practice's ``sources.toml``.

    Raises:
        MinerError: the file cannot be opened, an answer cannot be used, or an entry cannot be
            written as it is.
    """
    path = Path(path)
    folder = client or path.resolve().parent
    target = (folder.parent if practice else folder) / "sources.toml"
    file = pattern_of(target, path.name)
    proposals = propose(path, answers, client=folder, file=file, shared=practice)
    found = Mapped(path.name, proposals)
    if not write:
        return found
    needed = [item for each in found.asked() for item in each if item[1].needed]
    if needed:
        raise _open(path, needed)
    if found.refused is not None:
        raise _refused(path, found.refused)
    replaced = put_entries(target, path.name, "\n".join(each.toml for each in found.proposals))
    return replace(found, written=_shown(target), replaced=replaced)


def undo_mapping(path: Path, *, practice: bool = False) -> tuple[str, int]:
    """Put the entries back that read a file before it was mapped the last time.

    Returns:
        The ``sources.toml`` they are in, and how many there are.

    Raises:
        MinerError: it was not mapped here, or a file cannot be read or written.
    """
    folder = Path(path).resolve().parent
    target = (folder.parent if practice else folder) / "sources.toml"
    return _shown(target), take_back(target, Path(path).name)


MOMENTS = ("time", "start", "end", UTC_OFFSET)
"""Columns whose unit says how a time is written, and is proposed by what is in the file."""


@dataclass(frozen=True, slots=True)
class StreamColumn:
    """A column that a file may give to a stream.

    Attributes:
        needed: a file without it cannot be read, unless one word stands for it.
        in_minutes: it holds a length of time, in a unit that the file decides.
    """

    name: str
    needed: bool
    in_minutes: bool


def columns_for(stream: str) -> tuple[StreamColumn, ...]:
    """Return what a file may give to a stream, times first; nothing where there is no such."""
    if stream not in COLUMNS:
        return ()
    spec, known = COLUMNS[stream], known_columns(stream)
    times = tuple(name for name in known if name in ("time", "start", "end"))
    if spec.interval and stream != "tags":
        times = (*times, DURATION, "time")
    names = dict.fromkeys((*times, TIME_OF_DAY, UTC_OFFSET, *known))
    lengths = {DURATION, *(name for name, own in spec.numbers.items() if own.unit == "min")}
    needed = spec.needed if spec.interval else ("time", *spec.needed)
    return tuple(StreamColumn(name, name in needed, name in lengths) for name in names)


def still_needed(entry: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """Return what an entry of a stream lacks before it can be used: of each group one column."""
    spec = COLUMNS[entry["stream"]]
    given = {*entry.get("columns", {}), *entry.get("constants", {})}
    wanted: list[tuple[str, ...]] = [("start",), ("end", DURATION)]
    if entry.get("episodes") or not spec.interval or entry["stream"] == "tags":
        wanted = [("time",)]
        given |= {"time"} if "start" in given else set()
    wanted += [(name,) for name in spec.needed]
    if entry["stream"] == "glucose":
        wanted.append(("glucose_mg_dl", "glucose_mmol_l"))
    return [group for group in wanted if not given & {*group}]


def write_entry(path: Path, client: Path, entry: Mapping[str, Any], *, practice: bool) -> int:
    """Write down how a file is read, next to what it gives to other streams by other columns.

    Args:
        path: the file, wherever it is.
        client: the client's folder.
        entry: of ``sources.toml``.
        practice: for every client: in the practice's ``sources.toml``.

    Returns:
        How many entries there were for this file before.

    Raises:
        MinerError: the entry cannot be used, or not be written as it is.
    """
    source_of(entry)
    found = map_file(path, client=client, practice=practice).proposals
    taken = set(entry["columns"].values())
    beside = [
        each.entry
        for each in found
        if each.complete and each.stream != entry["stream"] and each.refused is None
        if not taken & {own for key, own in each.entry["columns"].items() if key not in _TIMES}
    ]
    file = {"file": found[0].entry["file"]} if practice else {}
    target = (client.parent if practice else client) / "sources.toml"
    with WRITING:
        toml = "\n".join(as_toml(each | file) for each in (dict(entry), *map(dict, beside)))
        return put_entries(target, path.name, toml)


def _shown(target: Path) -> str:
    return f"{target.parent.name}/{target.name}"


def _open(path: Path, needed: list[tuple[str, Undecided]]) -> MinerError:
    (key, first), *others = needed
    options = ", or ".join(f'--set "{key}={each.value}"' for each in first.options)
    return MinerError(
        "steps.keys_undecided" if others else "steps.key_undecided",
        key=key,
        give=options or f"--set {key}=...",
        others=[each for each, _ in others],
        file=path.name,
    )


def _refused(path: Path, loss: Loss) -> MinerError:
    turned = " ".join(f'--set "{key}={value}"' for key, value in loss.otherwise.items())
    code = "steps.rows_lost_but_otherwise" if turned else "steps.rows_lost"
    lost, rows, why = loss.count, loss.rows, loss.what
    return MinerError(code, lost=lost, rows=rows, why=why, turned=turned, file=path.name)


SHOWN = 8
SHOWN_AS = {
    "clock": "when",
    "start_clock": "from",
    "end_clock": "to",
    "glucose": "glucose, mg/dL",
}
_TIMES = ("time", "start", "end", DURATION, TIME_OF_DAY, UTC_OFFSET)
_CLOCKS = ("clock", "start_clock", "end_clock")
_HIDDEN = ("file", "row", "left_out", "twin", "time", "start", "end")


@dataclass(frozen=True, slots=True)
class Understood:
    """What one file gives to one stream.

    Attributes:
        first, last: its first and last time, by the wall clock, or None without any.
        columns: names of what was read.
        sample: its first rows as they were understood, one text a column.
    """

    stream: str
    rows: int
    first: str | None
    last: str | None
    columns: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Look:
    """How one file would be read.

    Attributes:
        kind: "records"; "ticks"; "map" where a person has to say what its columns are; "other".
        fault: why it cannot be read as it is, or None.
    """

    name: str
    kind: str
    understood: tuple[Understood, ...] = ()
    findings: tuple[Finding, ...] = ()
    fault: MinerError | None = None


def look_at(path: Path, client: Path, entry: Mapping[str, Any] | None = None) -> Look:
    """Read one file as it would be read in a client's folder; nothing is written.

    Args:
        path: the file, wherever it is; its name decides, as in the folder.
        client: the client's folder, whose settings apply.
        entry: an entry of ``sources.toml`` to try, in place of those that are written.

    Raises:
        MinerError: the entry, or a settings file, cannot be used.
    """
    name = path.name
    practice = practice_of(client, None)
    settings, findings = read_settings(client, practice), Findings()
    tried = None if entry is None else source_of(entry)
    found = _feeds(path, client, practice, tried)
    if not found:
        return Look(name, _kind(name))
    parts: list[Part] = []
    try:
        raw = read_bytes(path, name)
        for item in found:
            parts += parts_of(item, raw, settings, findings)
    except MinerError as error:
        return Look(name, "records", findings=findings.sorted(), fault=error)
    understood = tuple(_understood(part, findings) for part in parts if part.frame is not None)
    return Look(name, "records", understood, findings.sorted())


def source_of(entry: Mapping[str, Any]) -> Source:
    """Return an entry of ``sources.toml`` as it would be read.

    Raises:
        MinerError: it lacks something, or a key of it cannot be used.
    """
    try:
        return Source.model_validate(dict(entry))
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the entry"
        expected = expected_of(first)
        raise MinerError("records.entry_not_yet", place=place, expected=expected) from error


def _feeds(
    path: Path, client: Path, practice: Path | None, tried: Source | None
) -> list[FoundFile]:
    name = path.name
    if tried is not None:
        return [FoundFile(path, name, tried.stream, tried)]
    entries = read_sources(client, practice)
    fitting = [each for each in entries if PurePath(name).match(each.file)]
    mapped = mapped_by(fitting, path, name, own_patterns(client))
    if mapped:
        return mapped
    folded = name.casefold()
    for stream in STREAMS:
        if fnmatchcase(folded, f"{stream}*.csv"):
            return [FoundFile(path, name, stream, None)]
    if folded.endswith((".json", ".ndjson")):
        return [FoundFile(path, name, STANDARD, None)]
    return []


def _kind(name: str) -> str:
    if fnmatchcase(name.casefold(), "ticks*.csv"):
        return "ticks"
    return "map" if PurePath(name).suffix.lower() in TABLES else "other"


def _understood(part: Part, findings: Findings) -> Understood:
    frame = part.frame if part.frame is not None else pd.DataFrame()
    if part.stream == "glucose" and len(frame):
        frame = without_impossible_dates({"glucose": frame}, findings)["glucose"]
    clocks = [name for name in ("clock", "start_clock") if name in frame.columns]
    known = frame[clocks[0]].dropna() if clocks and len(frame) else pd.Series(dtype="datetime64[s]")
    ordered = [*_CLOCKS, *(name for name in frame.columns if name not in _CLOCKS)]
    columns = [
        str(name)
        for name in ordered
        if name in frame.columns and name not in _HIDDEN and not _blank(frame[name].head(200))
    ]
    sample = [
        tuple(_told(value) for value in row)
        for row in frame[columns].head(SHOWN).itertuples(index=False)
    ]
    return Understood(
        stream=part.stream,
        rows=len(frame),
        first=str(known.min())[:16] if len(known) else None,
        last=str(known.max())[:16] if len(known) else None,
        columns=tuple(SHOWN_AS.get(name, name.replace("_", " ")) for name in columns),
        sample=tuple(sample),
    )


def _blank(column: pd.Series[Any]) -> bool:
    told = column.astype(str)
    if column.dtype == bool and not column.any():
        return True
    return bool((column.isna() | (told == "")).all()) or str(column.name) in ("censored", "unit")


def _told(value: Any) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d %H:%M}"
    if value is None or value != value:
        return ""
    return f"{round(value, 2):.9g}" if isinstance(value, float) else str(value)
