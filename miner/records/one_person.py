"""Whether a file holds the records of one person only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from shlex import quote

import pandas as pd

from miner.core.results import Severity
from miner.records.columns import names_a_person
from miner.records.findings import Findings
from miner.records.fold import fold
from miner.records.sources import Source
from miner.records.table_file import Table
from miner.records.text_columns import Text

_SHOWN = 3


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
            where = f'where = {{ "{column}" = ["{next(iter(counts))}"] }}'
            tell_several(table.file, last, f"in the column '{column}'", counts, findings, where)
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
    file: str,
    row: int,
    by: str,
    people: Mapping[str, int],
    findings: Findings,
    where: str = "",
) -> None:
    """Tell, with a finding that stops, that a file names more than one person.

    Args:
        file: its name inside the client folder.
        row: where another than the first is named.
        by: what names them.
        people: how many rows each of them has.
        findings: gets what is told.
        where: what would keep one of them in ``sources.toml``.
    """
    shown = [f"'{word[:40]}' {count}" for word, count in list(people.items())[:_SHOWN]]
    more = f" and {len(people) - _SHOWN} more" if len(people) > _SHOWN else ""
    keep = f", or keep one with {where} in the entry of {quote(file)} in sources.toml"
    findings.add(
        Severity.STOP,
        f"{len(people)} people are named {by} ({', '.join(shown)}{more})",
        "the records of one person",
        f"Export that person's records alone{keep if where else ''}; the others have a client "
        "folder each.",
        file=file,
        row=row,
        count=sum(people.values()),
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
                f"it names '{person[:40]}', and '{known}' names '{name[:40]}': are these two "
                "people?",
                f"the {stream} of one person",
                "Two people: give each a client folder. One person under two names: nothing to "
                "do, both are used.",
                file=file,
            )
