"""One client folder of a caseload: a pure function of what lies in it."""

from __future__ import annotations

import os
import warnings
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from miner import __version__
from miner.caseload.fitting import unit_rows
from miner.caseload.places import fetched, fingerprint
from miner.caseload.store import Head, Told, to_parquet
from miner.core import resources
from miner.core.errors import MinerError
from miner.core.messages import message
from miner.core.results import CautionKind, CheckReport, Evidence, Ranking, Severity
from miner.core.results.caseload import ClientRow
from miner.hypotheses.design import design
from miner.records import read_client
from miner.records.check.one_person import day_prints
from miner.records.client import Client
from miner.records.read.settings import read_settings
from miner.rulebook import RuleBook
from miner.steps.open_questions import open_questions
from miner.steps.ranking import rank, table_of
from miner.steps.records import check, load_rules

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
        hashed = load_rules(None, folder).hash
    except MinerError:
        hashed = ""
    program = (__version__, resources.program_hash())
    return fingerprint(folder, repr((*program, hashed, task.unit, task.draws)))


def _record(task: Task, folder: Path, mark: str) -> bytes:
    code, pooled = task.folder, None
    try:
        settings = read_settings(folder, folder.parent)
        code, pooled = settings.code, settings.pooled
        rules = load_rules(None, folder)
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
        cautions=tuple(item.text for item in report.cautions if item.kind in SHOWN),
        attention=(*_attention(ranking, report), *_notes(client, ranking)),
        not_asked=report.intake_not_asked,
        clear_by_chance=ranking.clear_by_chance,
    )


def _attention(ranking: Ranking, report: CheckReport) -> list[str]:
    said: list[str] = []
    asked = [item for item in report.findings if item.severity is Severity.QUESTION]
    if asked:
        said.append(str(message("steps.questions_in_check", count=len(asked))))
    if ranking.status == "too_few":
        more = ranking.need_units - ranking.usable_units
        said.append(str(message("steps.more_units", count=more, unit=ranking.unit)))
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
