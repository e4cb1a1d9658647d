"""Whose records these are: several people in a file, the readings of another client, days copied.

The raw lines of a client's files are compared with those of the others at a few hundred places of
each file, which takes a tenth of a second for hundreds of clients. What is found there is read and
compared day by day before it is reported.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from miner.core.messages import MinerError, Severity, message
from miner.core.results.checking import Finding
from miner.records.columns import names_a_person
from miner.records.text_columns import Text, fold, marked

if TYPE_CHECKING:
    from miner.records.client import Client, Settings
    from miner.records.findings import Findings
    from miner.records.read.sources import Source
    from miner.records.read.table_file import RawTable


def person_of(table: RawTable, source: Source, findings: Findings) -> str | None:
    """Return whom the table names, or an empty text; None, and a finding, where it names several.

    Args:
        table: the rows that would be read.
        source: the mapping that reads them; a column that it maps names no person.
        findings: gets what is reported.
    """
    named = ""
    used = {*source.columns.values(), source.episodes.column if source.episodes else ""}
    for column in table.cells.columns:
        if column in used or not names_a_person(str(column)):
            continue
        words = table.text(str(column))
        people = spellings(words)
        if len(people) > 1:
            at = {name: words.isin(every).to_numpy() for name, every in people.items()}
            last = max(int(table.rows[rows.argmax()]) for rows in at.values())
            counts = {name: int(rows.sum()) for name, rows in at.items()}
            tell_several(table.file, last, str(column), counts, findings)
            return None
        named = named or next(iter(people), "")
    return named


def spellings(words: Text) -> dict[str, list[str]]:
    """Return whom a column names, each with every way in which the name is written."""
    found: dict[str, list[str]] = {}
    for word in pd.unique(words):
        if word:
            found.setdefault(fold(str(word)), []).append(str(word))
    return {each[0]: each for each in found.values()}


def tell_several(
    file: str, row: int, column: str, people: Mapping[str, int], findings: Findings
) -> None:
    """Tell, with a finding that stops, that a file names more than one person.

    Args:
        file: its name inside the client folder.
        row: where another than the first is named.
        column: what names them; empty where each record does.
        people: how many rows each of them has.
        findings: gets what is reported.
    """
    findings.add(
        Severity.STOP,
        f"people_in_{'column' if column else 'records'}",
        file=file,
        row=row,
        count=sum(people.values()),
        values={
            "named": len(people),
            "column": column,
            "first": next(iter(people)),
            "people": [
                message("records.person_with_rows", name=word[:40], n=count)
                for word, count in people.items()
            ],
        },
    )


def ask_about_others(named: Iterable[tuple[str, str, str]], findings: Findings) -> None:
    """Ask where the files of one stream name different people; all are used as they are.

    Args:
        named: stream, file and whom it names, for each file that names somebody.
        findings: gets one question a stream.
    """
    first: dict[str, tuple[str, str]] = {}
    asked = set()
    for stream, file, person in named:
        known, name = first.setdefault(stream, (file, person))
        if fold(name) != fold(person) and stream not in asked:
            asked.add(stream)
            values = {"name": person[:40], "other": known, "other_name": name[:40]}
            values |= {"stream": stream}
            findings.add(Severity.QUESTION, "two_names", file=file, values=values)


FEWEST_READINGS, FEWEST_VALUES, MINUTES = 24, 10, 1440
LINES, PLACES, HEAD_BYTES, FEWEST_BYTES = 8, 200, 4096, 400
FILES = (".csv", ".tsv", ".txt", ".json", ".ndjson", ".jsonl", ".xlsx", ".xls", ".ods", ".zip")
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
    dates = tuple(str(np.datetime64(day, "D")) for day in days)
    values = {"other": other, "first": dates[0], "last": dates[-1]}
    place = (file, None, "same_readings", len(days))
    return Finding(Severity.STOP, *place, stream="glucose", days=dates, values=values)


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
    lines, shapes = _own_lines(client.folder / name for name in own)
    mine = day_prints(client.streams["glucose"])
    here = client.folder.resolve()
    if not mine:
        return
    for folder in sorted(practice.iterdir()):
        if folder.name.startswith(".") or not folder.is_dir() or folder.resolve() == here:
            continue
        if not any(_has_same(path, lines, shapes) for path in sorted(folder.iterdir())):
            continue
        try:
            other = read(folder)
        except MinerError:
            continue
        days = same_days(mine, day_prints(other.streams["glucose"]))
        if days and other.settings.code != client.settings.code:
            yield told_of_same(other.settings.code, days, own[0])


def _own_lines(paths: Iterable[Path]) -> tuple[set[int], set[bytes]]:
    """Return hashes of all runs of lines, and the shapes of lines."""
    runs: set[int] = set()
    shapes: set[bytes] = set()
    for path in filter(Path.is_file, paths):
        lines = path.read_bytes().replace(b"\r", b"").split(b"\n")
        shapes |= {_shape(line) for line in lines if line}
        runs |= {hash(tuple(lines[at : at + LINES])) for at in range(len(lines) - LINES)}
    return runs, shapes


def _shape(line: bytes) -> bytes:
    return line.translate(_SHAPE)[:80]


def _has_same(path: Path, lines: set[int], shapes: set[bytes]) -> bool:
    """Say whether a file holds some of the lines; a spreadsheet has lines too, of a kind."""
    if path.suffix.lower() not in FILES or not path.is_file():
        return False
    found = path.stat()
    key = (str(path), found.st_size, found.st_mtime_ns)
    if found.st_size < FEWEST_BYTES or shapes.isdisjoint(_shapes_of(*key)):
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


COPIED = "copied_day"


def clock_prints(client: Client) -> dict[str, str]:
    """Return a hash of the readings of each day, whatever its date, by ISO date."""
    glucose = client.streams["glucose"]
    found = client.derived("clock prints", None, lambda: day_prints(glucose, dated=False))
    return {str(np.datetime64(day, "D")): mark[:8] for day, mark in found.items()}


def copied_days(glucose: pd.DataFrame, _: Settings, findings: Findings) -> pd.DataFrame:
    """Leave out the readings of a day that is an earlier day over again under another date."""
    minute = glucose["clock"].to_numpy().astype("datetime64[m]").astype(np.int64)
    dates = minute // MINUTES
    # copies have the same sum over values by time of day, and few other days do
    weight = glucose["glucose"].round() * (minute - dates * MINUTES + 1)
    sums = weight.groupby(dates).sum()
    perhaps = glucose[np.isin(dates, sums.index[sums.duplicated(keep=False)])]
    first: dict[str, int] = {}
    prints = day_prints(perhaps, dated=False)
    copies = [day for day, mark in prints.items() if first.setdefault(mark, day) != day]
    if not copies:
        return glucose
    copied = np.isin(dates, copies)
    first_day, last_day = (str(np.datetime64(copies[at], "D")) for at in (0, -1))
    findings.rows(
        Severity.LEFT_OUT,
        "copied_days",
        at=glucose[copied],
        stream="glucose",
        column="glucose",
        values={"copied": len(copies), "first": first_day, "last": last_day},
    )
    return marked(glucose, copied, COPIED)
