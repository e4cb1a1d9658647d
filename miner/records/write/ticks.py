"""What the client ticked in an alternating test: date, plan, and yes, no or forgot.

A client's own files may have any name ``ticks*.csv``. What is noted here goes into one more
file, with a row for each answer and when it was noted. A later row replaces an earlier one.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from miner.core.files import plain_cell, safe_cell
from miner.core.messages import MinerError, Severity
from miner.core.results.checking import Finding
from miner.records.findings import Findings
from miner.records.read.files import read_bytes
from miner.records.read.text_file import open_text

ANSWERS = ("yes", "no", "forgot")
NOTED = "ticks-noted.csv"
_COLUMNS = ("date", "plan", "answer", "noted")


@dataclass(frozen=True, slots=True)
class NotedTick:
    """One answer as it was noted: "yes", "no", "forgot", or nothing if it was taken back.

    Attributes:
        day: ISO date.
        noted: when, ISO 8601; empty in a file that does not say.
    """

    day: str
    plan: str
    answer: str
    noted: str


def read_noted(folder: Path) -> tuple[NotedTick, ...]:
    """Read what was noted here, in the order of the file; without a file nothing.

    Raises:
        MinerError: somebody else wrote into the file what would be lost by writing it again.
    """
    path = folder / NOTED
    if not path.is_file():
        return ()
    raw = read_bytes(path, path.name)
    rows = list(csv.reader(io.StringIO(raw.decode("utf-8", "replace"), newline="")))
    cells = [[*row, ""] if len(row) == len(_COLUMNS) - 1 else row for row in rows[1:]]
    if all(len(row) == len(_COLUMNS) for row in cells):
        ticks = tuple(NotedTick(row[0], plain_cell(row[1]), *row[2:]) for row in cells)
        if raw in (noted_bytes(ticks), noted_bytes(ticks, _COLUMNS[:-1])):
            return ticks
    raise MinerError("records.ticks_changed_by_hand", file=NOTED)


def noted_bytes(ticks: Sequence[NotedTick], columns: Sequence[str] = _COLUMNS) -> bytes:
    """Return the file of what was noted here."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    rows = ((one.day, safe_cell(one.plan), one.answer, one.noted) for one in ticks)
    writer.writerows(row[: len(columns)] for row in rows)
    return out.getvalue().encode()


@dataclass(frozen=True, slots=True)
class Ticks:
    """The ticks of one client.

    Attributes:
        by_day: (plan, ISO date) -> "yes", "no" or "forgot"; of a day ticked both ways, nothing.
        findings: rows that cannot be used.
        places: (plan, ISO date) -> the file and row of its last tick.
    """

    by_day: Mapping[tuple[str, str], str]
    findings: tuple[Finding, ...]
    places: Mapping[tuple[str, str], tuple[str, int]]

    def of(self, plan: str) -> dict[str, str]:
        """Return the ticks of one plan by ISO date."""
        return {day: said for (name, day), said in self.by_day.items() if name == plan}


def read_ticks(folder: Path) -> Ticks:
    """Read every ``ticks*.csv`` of a client folder; without a file there are no ticks.

    The third column may have any name, and an empty answer does not count. If a file says when
    each row was noted, the last of a day counts. A row without a date, a plan or a known answer is
    left out and reported. So are days that were ticked both yes and no.

    Raises:
        MinerError: a file is not text, or has no columns ``date`` and ``plan`` and a third one.
    """
    return ticks_in(tick_files(folder))


def tick_files(folder: Path) -> list[Path]:
    """Return every file of ticks of a client folder, sorted."""
    return sorted(folder.glob("ticks*.csv"))


def ticks_in(paths: Iterable[Path]) -> Ticks:
    """Read files of ticks, one after the other, as :func:`read_ticks` does.

    Raises:
        MinerError: one is not text, or has no columns ``date`` and ``plan`` and a third one.
    """
    findings = Findings()
    seen: dict[tuple[str, str], set[str]] = {}
    places: dict[tuple[str, str], tuple[str, int]] = {}
    for path in paths:
        empty = []
        for row, (day, plan, said) in _rows(path):
            when, answer = _day(day), said.casefold()
            if when and plan and not answer:
                empty.append(row)
            elif when is None or not plan or answer not in ANSWERS:
                about = {"row": row, "values": {"day": day, "plan": plan, "said": said}}
                findings.add(Severity.LEFT_OUT, "tick_not_usable", file=path.name, **about)
            else:
                seen.setdefault((plan, when), set()).add(answer)
                places[plan, when] = path.name, row
        if empty:
            about = {"row": empty[0], "count": len(empty)}
            findings.add(Severity.NOTE, "tick_without_answer", file=path.name, **about)
    by_day = _one_a_day(seen, places, findings)
    return Ticks(by_day, findings.sorted(), places)


def _one_a_day(
    seen: Mapping[tuple[str, str], set[str]],
    places: Mapping[tuple[str, str], tuple[str, int]],
    findings: Findings,
) -> dict[tuple[str, str], str]:
    """Return one answer for each day; "forgot" yields to the others, yes and no cancel out."""
    by_day = {}
    for (plan, when), answers in seen.items():
        file, row = places[plan, when]
        first, *others = answers - {"forgot"} or answers
        values, severity, code = {"day": when, "plan": plan}, Severity.QUESTION, "ticked_both"
        if not others:
            by_day[plan, when] = first
            values["answer"], severity, code = first, Severity.NOTE, "forgot_gives_way"
        if len(answers) > 1:
            findings.add(severity, code, file=file, row=row, values=values)
    return by_day


def _last(rows: list[tuple[int, tuple[str, str, str]]]) -> list[tuple[int, tuple[str, str, str]]]:
    """Return the last row of each day and plan, without those that took an answer back."""
    last = {cells[:2]: (row, cells) for row, cells in rows}
    return [(row, cells) for row, cells in last.values() if cells[2]]


def _rows(path: Path) -> list[tuple[int, tuple[str, str, str]]]:
    raw = read_bytes(path, path.name)
    text = open_text(path.name, raw, encoding=None, delimiter=",", skip_rows=0)
    if text is None:
        return []
    header = [name.casefold() for name in text.header]
    others = [name for name in header if name not in ("date", "plan")]
    if not {"date", "plan"} <= set(header) or not others:
        raise MinerError("records.columns_of_ticks", file=path.name, row=1, columns=text.header)
    places = [header.index(name) for name in ("date", "plan", others[0])]
    reader = csv.reader(io.StringIO(text.body[text.body_at :].decode("utf-8"), newline=""))
    out = []
    for cells in reader:
        row = text.first_row + reader.line_num - 1
        if any(cell.strip() for cell in cells):
            told = (cells[at].strip() if at < len(cells) else "" for at in places)
            day, plan, said = map(plain_cell, told)
            out.append((row, (day, plan, said)))
    return _last(out) if "noted" in header else out


def _day(text: str) -> str | None:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        return None
