"""A whole practice: a row a client, effects pooled across those who agreed, questions suggested."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from miner.caseload.fitting import KeptFits, PooledQuestion, unit_rows
from miner.caseload.places import client_folders, fetched, fingerprint
from miner.caseload.pooling import (
    MAX_LISTED,
    MAX_LISTED_THROUGHOUT,
    Pool,
    fewest_clients,
    pool_all,
    suggest,
)
from miner.caseload.question import OwnSlopes
from miner.caseload.running import Pace, Progress, run
from miner.caseload.store import (
    Head,
    Store,
    Told,
    folder_of_unit,
    forget_in_other_unit,
    keep_spreads,
    to_parquet,
)
from miner.core import VERSION, resources
from miner.core.messages import Message, MinerError, Severity, Words, by_rules, message
from miner.core.results import CheckReport, Evidence, Ranking, Shape
from miner.core.results.caseload import Caseload, ClientRow, PooledEffect, Suggested, Suggestion
from miner.core.results.morning import ClientState
from miner.core.unit import Unit
from miner.hypotheses.design import design
from miner.ledger import read as read_ledger
from miner.ledger import replay
from miner.records import read_client
from miner.records.check.one_person import day_prints
from miner.records.client import Client
from miner.records.read.files import read_toml
from miner.records.read.settings import PracticeFile, read_settings
from miner.rulebook import RuleBook
from miner.steps.checking import check
from miner.steps.opening import draws_of, rules_of, table_of, whole_number
from miner.steps.ranking import open_questions, rank
from miner.steps.states import client_state, without_records
from miner.steps.who_is_pooled import PooledClients, traces, who_is_pooled, work_folder
from miner.tables.referral import in_short


@dataclass(frozen=True, slots=True)
class Task:
    """One client folder to look at.

    Attributes:
        practice: the practice's folder or address.
        unit: what is pooled, "day" or "meal".
        known: the fingerprint of what is kept from an earlier run, or None.
        draws: permutations of the ranking; None for the rule book's.
        units_only: the client's own ranking is not needed; a record that holds it is good too.
    """

    practice: str
    folder: str
    unit: str
    known: str | None = None
    draws: int | None = None
    units_only: bool = False


UNITS_ONLY = "-units"
"""Ends the fingerprint of a record without the client's own ranking."""
Read = Callable[[Path], Client]


def examine(task: Task, read: Read = read_client) -> tuple[str, bytes | None]:
    """Return the folder's name and its record, or None where the one kept is still valid.

    Whatever is wrong with the folder is in the record. Nothing is written anywhere, and not to
    the client's ledger: the ranking counted here is the one ``rank`` makes, and no habit is named.

    Args:
        task: which client, and what is needed of it.
        read: how its folder is read.
    """
    from threadpoolctl import threadpool_limits

    try:
        with (
            warnings.catch_warnings(action="ignore"),
            threadpool_limits(1),
            fetched(task.practice, task.folder) as folder,
        ):
            mark = _mark(task, folder)
            units = f"{mark}{UNITS_ONLY}"
            if task.known == mark or (task.units_only and task.known == units):
                return task.folder, None
            return task.folder, _record(task, folder, units if task.units_only else mark, read)
    except (MinerError, OSError) as error:
        return task.folder, failed(task, _one_line(error, task.practice, task.folder))


def failed(task: Task, why: Words) -> bytes:
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
    return fingerprint(folder, repr((*program, hashed, task.unit, task.draws, _tested_on(folder))))


def _tested_on(folder: Path) -> date | None:
    """Return today where a test is open, because its missing ticks depend on it; else None."""
    try:
        kept = replay(read_ledger(folder)).kept
    except MinerError:
        return None
    return date.today() if any(item.plan_open() for item in kept) else None


def _record(task: Task, folder: Path, mark: str, read: Read) -> bytes:
    code, pooled = task.folder, None
    try:
        settings = read_settings(folder, folder.parent)
        code, pooled = settings.code, settings.pooled
        rules = rules_of(folder)
        client = read(folder)
        told: Told = {}
        row = ClientRow(code, task.folder, task.unit, 0, 0, "ranked", 0, 0, pooled)
        if not task.units_only:
            row, told = _ranked(task, client, rules)
        head = Head(row, mark, told, code, day_prints(client.streams["glucose"]))
        units = pd.DataFrame()
        if client.settings.pooled is True:
            table = table_of(client, rules, task.unit)
            units = unit_rows(table, design(table, rules))
        return to_parquet(head, units)
    except Exception as error:
        why = _one_line(error, str(folder.parent), task.folder)
        row = replace(_error_row(task.folder, code, pooled, why), state=_state(task, folder))
        return to_parquet(Head(row, mark, {}), pd.DataFrame())


def _state(
    task: Task, folder: Path, read: tuple[Client, CheckReport, RuleBook] | None = None
) -> ClientState | None:
    """Return the state of a client, as read or not readable; None where the ledger is not."""
    try:
        found = client_state(*read, date.today()) if read else without_records(folder)
    except MinerError:
        return None
    return replace(found, folder=task.folder)


def _ranked(task: Task, client: Client, rules: RuleBook) -> tuple[ClientRow, Told]:
    """Return a client's row, and what its own ranking calls each pattern."""
    ranking = rank(client, rules, unit=task.unit, draws=task.draws, spreads={}, together=False)
    report = check(client, rules)
    state = _state(task, client.folder, (client, report, rules))
    return replace(_row(task, client, ranking, report), state=state), _told(ranking, rules)


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
        cautions=in_short(report.cautions),
        attention=(*_attention(ranking, report), *_notes_of_ranking(client, ranking)),
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


def _notes_of_ranking(client: Client, ranking: Ranking) -> list[str]:
    told = {item.code for item in open_questions(client)} | {"steps.second_look"}
    return [str(note) for note in ranking.notes if getattr(note, "code", "") not in told]


def _error_row(folder: str, code: str, pooled: bool | None, why: Words) -> ClientRow:
    return ClientRow(code, folder, "", 0, 0, "error", 0, 0, pooled, why)


def _one_line(error: Exception, place: str, folder: str) -> Message:
    """Return what is wrong in one line, and as ``short`` only what was found."""
    if isinstance(error, MinerError):
        short, text = error.found, error.message
    elif isinstance(error, OSError) and error.errno is not None:
        short = text = f"{Path(str(error.filename)).name}: {error.strerror}"
    else:
        kind = type(error).__name__
        short = text = str(message("steps.fault_of_program", kind=kind, why=str(error)))
    why, short = (_own(said, place, folder) for said in (text, short))
    return message("steps.folder_not_used", why=why, short=short)


def _own(said: str, place: str, folder: str) -> str:
    """Return what is said of a folder without where it is."""
    own = said.replace(f"{place}{os.sep}", "")
    return " ".join(own.removeprefix(f"{folder}: ").split())


def _look(
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


Own = Sequence[tuple[PooledQuestion, dict[Shape, OwnSlopes]]]


def suggestion_sentences(found: Suggested, rules: RuleBook, display_unit: str) -> Suggested:
    """Return what is suggested for one client with each question's sentence."""

    def told(item: Suggestion) -> Suggestion:
        how = {"unit": item.by, "display_unit": display_unit}
        return replace(item, sentence=by_rules(rules, "labels.across", item=item, **how))

    return replace(found, questions=tuple(told(item) for item in found.questions))


def for_every_client(
    rows: Sequence[ClientRow], agreed: Sequence[ClientRow], own: Own, rules: RuleBook, unit: str
) -> tuple[Suggested, ...]:
    """Return what the others suggest for each client; nothing where they are too many to list.

    Args:
        rows: all clients.
        agreed: those in the pool, in the order of their numbers.
        own: every question with the slopes of those in the pool.
        rules: the rule books of the practice.
        unit: "day" or "meal".
    """
    if len(rows) > MAX_LISTED_THROUGHOUT:
        return ()
    codes = [None if other.status == "error" else code_of(other) for other in agreed]
    left_out = [
        [at for at, code in enumerate(codes) if code in (None, code_of(row))] for row in rows
    ]
    found = suggest(own, len(agreed), left_out, rules, unit)
    told = []
    for row, out, (found_of, asked) in zip(rows, left_out, found, strict=True):
        others = len(agreed) - len(out)
        fewest = fewest_clients(others)
        told.append(Suggested(row.client, row.folder, others, fewest, tuple(found_of), asked))
    return tuple(told)


def code_of(row: ClientRow) -> str:
    """Return a client's own code: folders that say they are one client are left out together."""
    return row.client.removesuffix(f" in {row.folder}")


MAX_WORKERS = 512


def pool(
    practice: Path | str,
    *,
    unit: str | None = None,
    workers: int = 1,
    scheduler: str | None = None,
    work: Path | None = None,
    draws: int | None = None,
    progress: Progress | None = None,
) -> Caseload:
    """Look at every client folder of a practice and pool those whose clients agreed.

    What is finished is kept in a work folder and used again as long as the client's files, the
    practice's settings and the rule books are the same. Nothing is written to a client folder:
    this counts as no ranking. The answer does not depend on the number of workers.

    Args:
        practice: a folder of client folders, or an address that fsspec can read.
        unit: "day" or "meal"; by default the practice's.
        workers: processes on this machine.
        scheduler: address of a Dask scheduler to work on instead.
        work: where results are kept; by default ``.miner-caseload`` in the practice.
        draws: permutations of each ranking; by default the rule book's.
        progress: told what is being done and the share done.

    Raises:
        MinerError: there is no such practice, or no place to keep results.

    Example:
        >>> caseload = miner.pool("invented", draws=100)
        >>> [(row.client, row.status) for row in caseload.clients]
        [('client-01', 'too_few'), ('client-02', 'too_few')]
    """
    from threadpoolctl import threadpool_limits

    place = str(practice)
    names = client_folders(place)
    rules, settings = _of_practice(place, names[0])
    by = Unit.of(unit or settings.rank_unit or "day")
    if draws is not None:
        draws_of(draws, rules)
    whole_number("workers", workers, 1, MAX_WORKERS)
    home = work_folder(place, work)
    store = Store(folder_of_unit(home, by))
    had_agreed = {name for name in names if (head := store.head(name)) and head.row.pooled}
    gone = store.forget_all_but(names)
    _look(place, names, store, by, workers, scheduler, draws, progress)
    pooled = who_is_pooled(names, store)
    rows, agreed = pooled.rows, pooled.agreed
    forget_in_other_unit(home, by, [row.folder for row in rows if row.pooled])
    folders = [row.folder for row in agreed]
    told = [store.kept(name).told for name in folders] if len(folders) <= MAX_LISTED else []
    with threadpool_limits(1), store.together(folders, fewest_clients(len(folders))) as units:
        program = (VERSION, resources.program_hash())
        kept = KeptFits(store, (*program, rules.hash, by, len(folders), units.digest()))
        effects, own, too_few = pool_all(
            Pool(units, agreed, told), rules, by, workers=workers, progress=progress, kept=kept
        )
    present = {store.kept(name).row.client for name in names}
    withdrew = [row.client for row in rows if row.folder in had_agreed and not row.pooled]
    found = Caseload(
        practice=Path(place).resolve().name or place,
        version=VERSION,
        unit=by,
        display_unit=settings.display_unit or "mg/dL",
        clients=rows,
        agreed=len(agreed) + pooled.copies,
        declined=sum(row.pooled is False for row in rows),
        not_asked=sum(row.pooled is None for row in rows),
        claim_level=rules.guardrails.claim_level,
        questions_asked=len(effects),
        too_few=too_few,
        pooled=tuple(effects),
        traces=tuple(traces(place, home, gone, withdrew, present)),
        notes=_notes(pooled, effects, "" if by == (settings.rank_unit or "day") else by),
        clear_by_chance=sum(row.clear_by_chance for row in rows),
        suggested=for_every_client(rows, agreed, own, rules, by),
    )
    keep_spreads(store, found)
    return with_sentences(found, rules)


def rules_of_practice(practice: Path | str) -> RuleBook:
    """Return the rule books that apply to a practice."""
    place = str(practice)
    return _of_practice(place, client_folders(place)[0])[0]


def _of_practice(practice: str, name: str) -> tuple[RuleBook, PracticeFile]:
    with fetched(practice, name) as folder:
        settings = read_toml(folder.parent / "practice.toml", PracticeFile)
        return rules_of(folder), settings


def with_sentences(found: Caseload, rules: RuleBook) -> Caseload:
    """Return a caseload whose effects and suggestions are put into words."""
    how = {"unit": found.unit, "display_unit": found.display_unit}
    pooled = tuple(_with_sentence(item, rules, how) for item in found.pooled)
    suggested = tuple(
        suggestion_sentences(item, rules, found.display_unit) for item in found.suggested
    )
    return replace(found, pooled=pooled, suggested=suggested)


def _with_sentence(item: PooledEffect, rules: RuleBook, how: Mapping[str, str]) -> PooledEffect:
    if item.difference is None or item.interval is None:
        return replace(item, sentence=message("steps.could_not_tell"))
    rows = tuple(
        replace(row, suggestion=by_rules(rules, "labels.suggestion", row=row, item=item, **how))
        if Evidence.CLEAR is item.evidence and row.evidence is Evidence.CANNOT_TELL
        else row
        for row in item.by_client
    )
    sentence = by_rules(rules, "labels.across", item=item, **how)
    return replace(item, sentence=sentence, by_client=rows)


def _notes(found: PooledClients, effects: Sequence[PooledEffect], second: str) -> tuple[Words, ...]:
    """Return notes on a pool; ``second`` is its unit where the practice pools by the other one."""
    notes: list[Words] = [*found.notes]
    if found.copies:
        notes.append(message("steps.pooled_once", count=found.copies))
    if len(found.agreed) > MAX_LISTED:
        notes.append(message("steps.none_listed", most=MAX_LISTED))
    elif len(found.agreed) > MAX_LISTED_THROUGHOUT:
        notes.append(message("steps.few_listed", most=MAX_LISTED_THROUGHOUT))
    if not effects:
        notes.append(message("steps.nothing_pooled"))
    if second:
        notes.append(message("steps.second_pool", unit=second))
    return tuple(notes)
