"""Looks at client folders, and says which of them are pooled: who agreed, each person once."""

from __future__ import annotations

import os
import warnings
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations
from pathlib import Path

import pandas as pd

from miner.caseload.fitting import unit_rows
from miner.caseload.places import fetched, fingerprint
from miner.caseload.running import Pace, Progress, run
from miner.caseload.store import Head, Store, Told, to_parquet
from miner.core import VERSION, resources
from miner.core.messages import Message, MinerError, Words, message
from miner.core.results import CautionKind, CheckReport, Evidence, Ranking, Severity
from miner.core.results.caseload import ClientRow
from miner.hypotheses.design import design
from miner.records import read_client
from miner.records.check.one_person import day_prints, told_of_same
from miner.records.client import Client
from miner.records.read.settings import read_settings
from miner.rulebook import RuleBook
from miner.steps.checking import check
from miner.steps.opening import rules_of, table_of
from miner.steps.ranking import open_questions, rank

SHOWN = (CautionKind.REFERRAL, CautionKind.INTAKE, CautionKind.MEDICINE)


@dataclass(frozen=True, slots=True)
class Task:
    """One client folder to look at.

    Attributes:
        practice: the practice's folder or address.
        unit: what is pooled, "day" or "meal".
        known: the fingerprint of what is kept from an earlier run, or None.
        draws: permutations of the ranking; None for the rule book's.
    """

    practice: str
    folder: str
    unit: str
    known: str | None = None
    draws: int | None = None


def examine(task: Task) -> tuple[str, bytes | None]:
    """Return the folder's name and its record, or None where the one kept still holds.

    Whatever is wrong with the folder stands in the record; nothing is written anywhere, not to
    the client's ledger either: the ranking counted here is the one ``rank`` makes, and no habit
    is named.
    """
    from threadpoolctl import threadpool_limits

    try:
        with (
            warnings.catch_warnings(action="ignore"),
            threadpool_limits(1),
            fetched(task.practice, task.folder) as folder,
        ):
            mark = _mark(task, folder)
            if mark == task.known:
                return task.folder, None
            return task.folder, _record(task, folder, mark)
    except (MinerError, OSError) as error:
        return task.folder, failed(task, _one_line(error, task.practice, task.folder))


def failed(task: Task, why: str) -> bytes:
    """Return the record of a folder that could not be used."""
    return to_parquet(Head(_error_row(task.folder, task.folder, None, why), "", {}), pd.DataFrame())


def ended(task: Task) -> tuple[str, bytes | None]:
    """Return the record of a folder whose process was ended again and again."""
    return task.folder, failed(task, str(message("steps.ended_again")))


def _mark(task: Task, folder: Path) -> str:
    try:
        hashed = rules_of(folder).hash
    except MinerError:
        hashed = ""
    program = (VERSION, resources.program_hash())
    return fingerprint(folder, repr((*program, hashed, task.unit, task.draws)))


def _record(task: Task, folder: Path, mark: str) -> bytes:
    code, pooled = task.folder, None
    try:
        settings = read_settings(folder, folder.parent)
        code, pooled = settings.code, settings.pooled
        rules = rules_of(folder)
        client = read_client(folder)
        ranking = rank(client, rules, unit=task.unit, draws=task.draws, spreads={}, together=False)
        report = check(client, rules)
        prints = day_prints(client.streams["glucose"])
        row = _row(task, client, ranking, report)
        head = Head(row, mark, _told(ranking, rules), code, prints)
        return to_parquet(head, _units(task, client, rules))
    except Exception as error:
        row = _error_row(
            task.folder, code, pooled, _one_line(error, str(folder.parent), task.folder)
        )
        return to_parquet(Head(row, mark, {}), pd.DataFrame())


def _units(task: Task, client: Client, rules: RuleBook) -> pd.DataFrame:
    if client.settings.pooled is not True:
        return pd.DataFrame()
    table = table_of(client, rules, task.unit)
    return unit_rows(table, design(table, rules))


def _told(ranking: Ranking, rules: RuleBook) -> Told:
    shown = rules.guardrails.hints_shown
    hints = [item for item in ranking.hypotheses if item.evidence is Evidence.HINT]
    kept = {item.id for item in hints[:shown]}
    return {
        (item.factors[0], item.outcome): item.evidence
        for item in ranking.hypotheses
        if len(item.factors) == 1
        and (item.evidence in (Evidence.CLEAR, Evidence.LITTLE_SIGN) or item.id in kept)
    }


def _row(task: Task, client: Client, ranking: Ranking, report: CheckReport) -> ClientRow:
    levels = [item.evidence for item in ranking.hypotheses]
    return ClientRow(
        client=client.settings.code,
        folder=task.folder,
        unit=ranking.unit,
        usable_units=ranking.usable_units,
        left_out_units=ranking.left_out_units,
        status=ranking.status,
        clear=levels.count(Evidence.CLEAR),
        hints=levels.count(Evidence.HINT),
        pooled=client.settings.pooled,
        cautions=tuple(item.said for item in report.cautions if item.kind in SHOWN),
        attention=(*_attention(ranking, report), *_notes(client, ranking)),
        not_asked=report.intake_not_asked,
        clear_by_chance=ranking.clear_by_chance,
    )


def _attention(ranking: Ranking, report: CheckReport) -> list[Words]:
    said: list[Words] = []
    asked = [item for item in report.findings if item.severity is Severity.QUESTION]
    if asked:
        many = message("steps.questions_in_checks")
        count = len(asked)
        said.append(message("steps.questions_in_check", count=count, of_many=many, own=count))
    if ranking.status == "too_few":
        more = ranking.need_units - ranking.usable_units
        said.append(message("steps.more_units", count=more, unit=ranking.unit))
    return said


def _notes(client: Client, ranking: Ranking) -> list[str]:
    told = {item.code for item in open_questions(client)} | {"steps.second_look"}
    return [str(note) for note in ranking.notes if getattr(note, "code", "") not in told]


def _error_row(folder: str, code: str, pooled: bool | None, why: str) -> ClientRow:
    return ClientRow(code, folder, "", 0, 0, "error", 0, 0, pooled, why)


def _one_line(error: Exception, place: str, folder: str) -> str:
    if isinstance(error, MinerError):
        text = error.message
    elif isinstance(error, OSError) and error.errno is not None:
        text = f"{Path(str(error.filename)).name}: {error.strerror}"
    else:
        kind = type(error).__name__
        text = str(message("steps.fault_of_program", kind=kind, why=str(error)))
    own = text.replace(f"{place}{os.sep}", "")
    return " ".join(own.removeprefix(f"{folder}: ").split())


@dataclass(frozen=True, slots=True)
class Pooled:
    """The clients of a practice and which of them are pooled.

    Attributes:
        rows: all, with what needs the eye added.
        agreed: those in the pool.
        copies: how many more agreed with the same records as one of these.
        notes: codes that several folders have.
    """

    rows: tuple[ClientRow, ...]
    agreed: tuple[ClientRow, ...]
    copies: int
    notes: tuple[Message, ...]


def look(
    practice: str,
    names: Sequence[str],
    store: Store,
    unit: str,
    workers: int = 1,
    scheduler: str | None = None,
    draws: int | None = None,
    progress: Progress | None = None,
) -> None:
    """Bring what a store keeps of some client folders up to date."""
    heads = {name: store.head(name) for name in names}
    known = {name: head.fingerprint for name, head in heads.items() if head is not None}
    tasks = [Task(practice, name, unit, known.get(name), draws) for name in names]
    pace = Pace(len(tasks), progress, "clients")
    for name, content in run(examine, tasks, workers=workers, scheduler=scheduler, lost=ended):
        if content is not None:
            store.save(name, content)
        pace.step()


def who_is_pooled(names: Sequence[str], store: Store) -> Pooled:
    """Return who of some client folders, all of them in the store, are pooled."""
    rows, notes = _told_apart([store.kept(name).row for name in names])
    rows, stopped = _same_readings_stopped(rows, store)
    rows, copies = _copies_told(rows, store)
    agreed = [row for row in rows if row.pooled and row.folder not in copies | stopped]
    return Pooled(tuple(rows), tuple(agreed), len(copies), tuple(notes))


def _told_apart(rows: Sequence[ClientRow]) -> tuple[list[ClientRow], list[Message]]:
    """Return the rows, clients of one code by their folders too, and a note of each such code."""
    count = Counter(row.client for row in rows)
    told = [
        replace(row, client=f"{row.client} in {row.folder}") if count[row.client] > 1 else row
        for row in rows
    ]
    notes = [
        message("steps.one_code", count=much, client=code)
        for code, much in sorted(count.items())
        if much > 1
    ]
    return told, notes


def _same_readings_stopped(rows: list[ClientRow], store: Store) -> tuple[list[ClientRow], set[str]]:
    """Return the rows, two clients of different codes with the same readings stopped, and these."""
    heads = {row.folder: store.kept(row.folder) for row in rows}
    holders: dict[tuple[int, str], list[str]] = defaultdict(list)
    for folder, head in heads.items():
        for day, mark in head.prints.items():
            holders[day, mark].append(folder)
    shared: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for (day, _), folders in holders.items():
        for one, two in permutations(folders, 2):
            if heads[one].code != heads[two].code:
                shared[one][heads[two].code].append(day)
    told = [
        replace(
            row,
            status="error",
            usable_units=0,
            clear=0,
            hints=0,
            attention=(),
            error=why,
            clear_by_chance=0.0,
        )
        if (why := _why_same(shared.get(row.folder, {})))
        else row
        for row in rows
    ]
    return told, set(shared)


def _why_same(shared: Mapping[str, list[int]]) -> str:
    if not shared:
        return ""
    other, days = max(sorted(shared.items()), key=lambda pair: len(pair[1]))
    return told_of_same(other, sorted(days), None).what.capitalize() + "."


def _copies_told(rows: list[ClientRow], store: Store) -> tuple[list[ClientRow], set[str]]:
    """Return the rows, and the folders whose records are those of another: pooled once."""
    of = store.same_units([row.folder for row in rows if row.pooled])
    names = {row.folder: row.client for row in rows}
    told = [
        replace(
            row,
            attention=(str(message("steps.copy_of", client=names[of[row.folder]])), *row.attention),
        )
        if row.folder in of
        else row
        for row in rows
    ]
    return told, set(of)
