"""Finds the files of a client folder and which mapping reads each of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING

from miner.core.messages import MinerError, Severity, printable
from miner.records.client import STREAMS
from miner.records.read.files import read_toml
from miner.records.read.sources import Source, SourcesFile, read_sources

if TYPE_CHECKING:
    from miner.records.findings import Findings

STANDARD = "open-standard records"
_OPEN = (".json", ".ndjson")
TABLES = (".csv", ".tsv", ".txt", ".xlsx", ".xls", ".ods", ".zip", ".jsonl")
_NOT_STREAMS = ("ticks*.csv",)
_OWN = (
    "ledger.jsonl",
    "client.toml",
    "practice.toml",
    "sources.toml",
    "sources.toml.before",
    "corrections.csv",
    "truth.json",
)


@dataclass(frozen=True, slots=True)
class FoundFile:
    """One file and one stream it feeds; no source where its columns have the stream's names.

    The stream of a file of open-standard records, which may feed several, is STANDARD.

    Attributes:
        beside: the other mappings of the same file.
    """

    path: Path
    name: str
    stream: str
    source: Source | None
    beside: tuple[Source, ...] = ()


def mapped_by(
    entries: Iterable[Source], path: Path, name: str, own: Container[str]
) -> list[FoundFile]:
    """Return one file with each of the mappings that read it: the client's own, where there is one.

    Args:
        entries: those that fit its name.
        path: the file.
        name: what it is called in the folder.
        own: the patterns of the client's own entries.
    """
    entries = tuple(entries)
    entries = tuple(each for each in entries if each.file in own) or entries
    return [
        FoundFile(path, name, entry.stream, entry, (*entries[:at], *entries[at + 1 :]))
        for at, entry in enumerate(entries)
    ]


def own_patterns(folder: Path) -> set[str]:
    """Return the patterns of the files that a client's own ``sources.toml`` maps."""
    return {entry.file for entry in read_toml(folder / "sources.toml", SourcesFile).source}


def practice_of(folder: Path, practice: Path | None) -> Path | None:
    """Return the practice folder: the one given, or the parent where it has settings."""
    if practice is not None:
        return practice
    parent = folder.resolve().parent
    shared = ("practice.toml", "sources.toml")
    return parent if any((parent / name).is_file() for name in shared) else None


def find_files(folder: Path, practice: Path | None, findings: Findings) -> list[FoundFile]:
    """Return the files to read, in the order of their names.

    Raises:
        MinerError: the folder is missing or empty, ``sources.toml`` is wrong, or there is no
            glucose file.
    """
    _check_folder(folder)
    sources = read_sources(folder, practice)
    own = own_patterns(folder)
    entries: dict[Path, list[Source]] = defaultdict(list)
    for entry in sources:
        for path in folder.glob(entry.file):
            if path.name not in _OWN:
                entries[path].append(entry)
    found = [
        item
        for path in sorted(entries)
        for name in [printable(path.relative_to(folder).as_posix())]
        for item in mapped_by(entries[path], path, name, own)
    ]
    for pattern in sorted(own):
        if not any(folder.glob(pattern)):
            values = {"pattern": pattern}
            findings.add(Severity.QUESTION, "file_missing", file="sources.toml", values=values)
    for stream in STREAMS:
        paths = [path for path in _named(folder, f"{stream}*.csv") if path not in entries]
        found.extend(FoundFile(path, printable(path.name), stream, None) for path in paths)
    open_ = [p for suffix in _OPEN for p in _named(folder, f"*{suffix}") if p.name not in _OWN]
    found.extend(FoundFile(p, printable(p.name), STANDARD, None) for p in open_ if p not in entries)
    _tell_unread(folder, {item.name for item in found}, findings)
    if not any(item.stream in ("glucose", STANDARD) for item in found):
        raise _no_glucose(folder)
    return sorted(found, key=lambda item: ((*STREAMS, STANDARD).index(item.stream), item.name))


def _no_glucose(folder: Path) -> MinerError:
    there = _of_the_client(folder)
    named = [name for name in there if not name.casefold().startswith(STREAMS)]
    tables = [name for name in named if Path(name).suffix.lower() in TABLES]
    inside = (path for path in folder.iterdir() if path.is_dir() and path.name[0] != ".")
    holds_clients = any(any(path.glob("*.csv")) for path in inside)
    if (folder / "practice.toml").is_file() or (not tables and holds_clients):
        kind = "no_glucose_of_practice"
    else:
        kind = "no_glucose_mapped" if tables else "no_glucose"
    return MinerError(
        f"records.{kind}{'' if there else '_alone'}",
        file=folder,
        there=there[:8],
        table=tables[0] if tables else "",
    )


def _named(folder: Path, pattern: str) -> list[Path]:
    return sorted(path for path in folder.iterdir() if fnmatchcase(path.name.casefold(), pattern))


def _check_folder(folder: Path) -> None:
    try:
        there = folder.is_dir() and any(folder.iterdir())
    except OSError as error:
        raise MinerError("records.folder_unreadable", file=folder, reason=error.strerror) from error
    if there:
        return
    kind = "empty" if folder.is_dir() else "is_file" if folder.exists() else "missing"
    raise MinerError(f"records.folder_{kind}", file=folder)


def _of_the_client(folder: Path) -> list[str]:
    names = sorted(printable(path.name) for path in folder.iterdir())
    return [name for name in names if name not in _OWN and not name.startswith(".")]


def _tell_unread(folder: Path, read: set[str], findings: Findings) -> None:
    ignored = {printable(path.name) for pattern in _NOT_STREAMS for path in _named(folder, pattern)}
    for name in _of_the_client(folder):
        if Path(name).suffix.lower() in TABLES and name not in read | ignored:
            findings.add(Severity.NOTE, "file_not_mapped", file=name)
