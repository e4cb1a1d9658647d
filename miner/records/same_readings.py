"""Readings that two clients of a practice have in common: one of them is somebody else's.

A client is held against the others by the raw lines of its files, a few hundred places of each
file, so that a practice of hundreds costs a tenth of a second; what is found is read and compared
day by day before anything is said.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from miner.core.errors import MinerError
from miner.core.results import Finding, Severity
from miner.records.client import Client

FEWEST_READINGS, FEWEST_VALUES, MINUTES = 24, 10, 1440
LINES, PLACES, HEAD_BYTES, FEWEST_BYTES = 8, 200, 4096, 400
TEXTS = (".csv", ".tsv", ".txt", ".json", ".ndjson", ".jsonl")
OTHERS = (".xlsx", ".xls", ".ods", ".zip")
_SHAPE = bytes.maketrans(b"0123456789", b"0" * 10)
Prints = Mapping[int, str]


def day_prints(glucose: pd.DataFrame, *, dated: bool = True) -> Prints:
    """Return a hash of the readings of each wall-clock day, by day since 1970-01-01.

    A day counts with 24 readings and 10 different values at least: a hash that two people share is
    then no accident. Times are taken to the minute, values to 1 mg/dL.

    Args:
        glucose: the stream; what is left out counts, what is censored does not.
        dated: the date is part of it; else two days with the same readings have one hash.
    """
    known = glucose.dropna(subset=["glucose"])
    if known.empty:
        return {}
    minute = known["clock"].to_numpy().astype("datetime64[m]").astype(np.int64)
    value = np.round(known["glucose"].to_numpy(np.float64)).astype(np.int64)
    order = np.lexsort((value, minute))
    minute, value = minute[order], value[order]
    day = minute // MINUTES
    cuts = np.flatnonzero(np.diff(day, prepend=-1))
    told = minute if dated else minute % MINUTES
    return {
        int(day[low]): hashlib.sha256(
            np.stack([told[low:high], value[low:high]]).astype("<i8").tobytes()
        ).hexdigest()[:16]
        for low, high in zip(cuts.tolist(), [*cuts[1:].tolist(), len(day)], strict=True)
        if high - low >= FEWEST_READINGS and len(np.unique(value[low:high])) >= FEWEST_VALUES
    }


def same_days(one: Prints, two: Prints) -> list[int]:
    """Return the days whose readings are the very same, in order."""
    return sorted(day for day, mark in one.items() if two.get(day) == mark)


def told_of_same(other: str, days: list[int], file: str | None) -> Finding:
    """Return the finding that stops a client whose readings another has too."""
    first, last = (str(np.datetime64(day, "D")) for day in (days[0], days[-1]))
    return Finding(
        Severity.STOP,
        file,
        None,
        "same_readings",
        len(days),
        stream="glucose",
        days=tuple(str(np.datetime64(day, "D")) for day in days),
        values={"other": other, "first": first, "last": last},
    )


def others_with_same(
    client: Client, practice: Path, read: Callable[[Path], Client]
) -> Iterator[Finding]:
    """Yield a finding for each other client of a practice that holds the same readings.

    A folder that says it is the same client is a copy, and no second person.

    Args:
        client: as read.
        practice: the folder of client folders.
        read: reads another client.
    """
    own = sorted(set(client.streams["glucose"]["file"].astype(str)))
    lines, shapes, whole = _own_lines(client.folder / name for name in own)
    mine = day_prints(client.streams["glucose"])
    here = client.folder.resolve()
    if not mine:
        return
    for folder in sorted(practice.iterdir()):
        if folder.name.startswith(".") or not folder.is_dir() or folder.resolve() == here:
            continue
        if not any(_has_same(path, lines, shapes, whole) for path in sorted(folder.iterdir())):
            continue
        try:
            other = read(folder)
        except MinerError:
            continue
        days = same_days(mine, day_prints(other.streams["glucose"]))
        if days and other.settings.code != client.settings.code:
            yield told_of_same(other.settings.code, days, own[0])


def _own_lines(paths: Iterable[Path]) -> tuple[set[int], set[bytes], set[tuple[int, bytes]]]:
    """Return hashes of all runs of lines, the shapes of lines, and whole files that are no text."""
    runs: set[int] = set()
    shapes: set[bytes] = set()
    whole: set[tuple[int, bytes]] = set()
    for path in filter(Path.is_file, paths):
        raw = path.read_bytes()
        if path.suffix.lower() not in TEXTS:
            whole.add((len(raw), hashlib.sha256(raw).digest()))
            continue
        lines = raw.replace(b"\r", b"").split(b"\n")
        shapes |= {_shape(line) for line in lines if line}
        runs |= {hash(tuple(lines[at : at + LINES])) for at in range(len(lines) - LINES)}
    return runs, shapes, whole


def _shape(line: bytes) -> bytes:
    return line.translate(_SHAPE)[:80]


def _has_same(
    path: Path, lines: set[int], shapes: set[bytes], whole: set[tuple[int, bytes]]
) -> bool:
    """Say whether a file holds some of the lines, or is one of the whole files."""
    suffix = path.suffix.lower()
    if suffix not in (*TEXTS, *OTHERS) or not path.is_file():
        return False
    found = path.stat()
    key = (str(path), found.st_size, found.st_mtime_ns)
    if suffix in OTHERS:
        sizes = {size for size, _ in whole}
        return found.st_size in sizes and (found.st_size, _hash_of(*key)) in whole
    if found.st_size < FEWEST_BYTES or not shapes & _shapes_of(*key):
        return False
    return not lines.isdisjoint(_sampled(*key))


@lru_cache(maxsize=20_000)
def _shapes_of(path: str, size: int, _changed: int) -> frozenset[bytes]:
    with Path(path).open("rb") as file:
        head = file.read(min(size, HEAD_BYTES)).replace(b"\r", b"")
    return frozenset(_shape(line) for line in head.split(b"\n")[2:-1])


@lru_cache(maxsize=20_000)
def _sampled(path: str, size: int, _changed: int) -> frozenset[int]:
    """Return hashes of runs of lines at places all over a file."""
    raw = Path(path).read_bytes()
    found = set()
    for start in np.linspace(0, max(size - FEWEST_BYTES, 0), PLACES).astype(int).tolist():
        begin = raw.find(b"\n", start) + 1
        end = begin
        for _ in range(LINES):
            end = raw.find(b"\n", end) + 1
            if not end:
                break
        if begin and end:
            run = raw[begin : end - 1].replace(b"\r", b"").split(b"\n")
            found.add(hash(tuple(run)))
    return frozenset(found)


@lru_cache(maxsize=20_000)
def _hash_of(path: str, _size: int, _changed: int) -> bytes:
    return hashlib.sha256(Path(path).read_bytes()).digest()
