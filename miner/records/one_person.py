"""Whether a file holds the records of one person only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from miner.core.messages import message
from miner.core.results import Severity
from miner.records.columns import names_a_person
from miner.records.findings import Findings
from miner.records.fold import fold
from miner.records.sources import Source
from miner.records.table_file import Table
from miner.records.text_columns import Text


def person_of(table: Table, source: Source, findings: Findings) -> str | None:
    """Return whom the table names, or an empty text; None where it names several, which is told.

    Args:
        table: the rows that would be read.
        source: the mapping that reads them; a column that it maps tells no person.
        findings: gets what is told.
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
        findings: gets what is told.
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
    """Ask where the files of one stream name different people; all are used as they stand.

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
            findings.add(
                Severity.QUESTION,
                "two_names",
                file=file,
                values={
                    "name": person[:40],
                    "other": known,
                    "other_name": name[:40],
                    "stream": stream,
                },
            )
