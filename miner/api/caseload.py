"""A whole practice: a row a client, and effects pooled across those who agreed."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import permutations
from pathlib import Path

from miner import __version__, resources
from miner.api.examine import Task, ended, examine
from miner.api.spreads import keep_spreads
from miner.api.steps import load_rules
from miner.api.traces import traces
from miner.brief.pooled import with_sentences
from miner.caseload.fits import KeptFits
from miner.caseload.places import client_folders, fetched, is_remote
from miner.caseload.pooling import MOST_LISTED, MOST_LISTED_THROUGHOUT, fewest_clients, pool_all
from miner.caseload.running import Pace, Progress, run
from miner.caseload.store import NAME, PAGES, Store
from miner.errors import MinerError
from miner.records.same_readings import told_of_same
from miner.records.settings import PracticeFile
from miner.records.toml_file import read_toml
from miner.results.caseload import Caseload, ClientRow, PooledEffect
from miner.rulebook import RuleBook

COPY = "The records are the very ones of {client}: pooled once. Is one folder a copy of the other?"


def pool(
    practice: Path | str,
    *,
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
        workers: processes on this machine.
        scheduler: address of a Dask scheduler to work on instead.
        work: where results are kept; by default ``.miner-caseload`` in the practice.
        draws: permutations of each ranking; by default the rule book's.
        progress: told what is being done and the share done.

    Raises:
        MinerError: there is no such practice, or no place to keep results.
    """
    from threadpoolctl import threadpool_limits

    place = str(practice)
    names = client_folders(place)
    store = Store(work_folder(place, work))
    rules, settings = _of_practice(place, names[0])
    unit = settings.rank_unit or "day"
    gone, had_agreed = _look(place, names, store, unit, workers, scheduler, draws, progress)
    rows, same = _told_apart([store.kept(name).row for name in names])
    rows, stopped = _same_readings_stopped(rows, store)
    rows, copies = _copies_told(rows, store)
    agreed = [row for row in rows if row.pooled and row.folder not in copies | stopped]
    folders = [row.folder for row in agreed]
    told = [store.kept(name).told for name in folders] if len(folders) <= MOST_LISTED else []
    with threadpool_limits(1), store.together(folders, fewest_clients(len(folders))) as units:
        program = (__version__, resources.program_hash())
        kept = KeptFits(store, (*program, rules.hash, unit, len(folders), units.digest()))
        effects, too_few = pool_all(units, agreed, told, rules, unit, workers, progress, kept)
    present = {store.kept(name).row.client for name in names}
    withdrew = [row.client for row in rows if row.folder in had_agreed and not row.pooled]
    found = Caseload(
        practice=Path(place).resolve().name or place,
        version=__version__,
        unit=unit,
        display_unit=settings.display_unit or "mg/dL",
        clients=tuple(rows),
        agreed=len(agreed) + len(copies),
        declined=sum(row.pooled is False for row in rows),
        not_asked=sum(row.pooled is None for row in rows),
        claim_level=rules.guardrails.claim_level,
        questions_asked=len(effects),
        too_few=too_few,
        pooled=tuple(effects),
        traces=tuple(traces(place, store, gone, withdrew, present)),
        notes=tuple(_notes(same, len(copies), effects, len(agreed))),
    )
    keep_spreads(store, found)
    return with_sentences(found, rules)


def _look(
    practice: str,
    names: list[str],
    store: Store,
    unit: str,
    workers: int,
    scheduler: str | None,
    draws: int | None,
    progress: Progress | None,
) -> tuple[list[ClientRow], set[str]]:
    """Bring the store up to date; return who is gone, and which folders had agreed before."""
    known: dict[str, str] = {}
    had_agreed = set()
    for name in names:
        head = store.head(name)
        if head is not None:
            known[name] = head.fingerprint
            had_agreed |= {name} if head.row.pooled else set()
    gone = store.forget_all_but(names)
    tasks = [Task(practice, name, unit, known.get(name), draws) for name in names]
    pace = Pace(len(tasks), progress, "clients")
    for name, content in run(examine, tasks, workers=workers, scheduler=scheduler, lost=ended):
        if content is not None:
            store.save(name, content)
        pace.step()
    return gone, had_agreed


def rules_of_practice(practice: Path | str) -> RuleBook:
    """Return the rule books that apply to a practice."""
    place = str(practice)
    return _of_practice(place, client_folders(place)[0])[0]


def remember_page(practice: Path | str, work: Path | None, page: Path, found: Caseload) -> None:
    """Note in the work folder that a page names these clients, so that it can be told later."""
    store = Store(work_folder(str(practice), work))
    pages = store.read_json(PAGES)
    pages = pages if isinstance(pages, dict) else {}
    pages[str(page.resolve())] = sorted(
        {row.client.removesuffix(f" in {row.folder}") for row in found.clients}
    )
    store.write(PAGES, (json.dumps(pages, indent=1, sort_keys=True) + "\n").encode())


def work_folder(practice: str, work: Path | None) -> Path:
    """Return where results are kept.

    Raises:
        MinerError: a practice in a store needs a folder that is named.
    """
    if work is not None:
        return work
    if is_remote(practice):
        raise MinerError(
            "there is no place to keep results",
            "a folder on this machine for a practice that lies in a store",
            "Name one with --work FOLDER.",
        )
    return Path(practice) / NAME


def _of_practice(practice: str, name: str) -> tuple[RuleBook, PracticeFile]:
    with fetched(practice, name) as folder:
        settings = read_toml(folder.parent / "practice.toml", PracticeFile)
        return load_rules(None, folder), settings


def _told_apart(rows: Sequence[ClientRow]) -> tuple[list[ClientRow], list[str]]:
    """Return the rows, clients of one code by their folders too, and a note of each such code."""
    count = Counter(row.client for row in rows)
    told = [
        replace(row, client=f"{row.client} in {row.folder}") if count[row.client] > 1 else row
        for row in rows
    ]
    notes = [
        f"{much} folders say they are {code}. They are counted as different clients."
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
        replace(row, status="error", usable_units=0, clear=0, hints=0, attention=(), error=why)
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
        replace(row, attention=(COPY.format(client=names[of[row.folder]]), *row.attention))
        if row.folder in of
        else row
        for row in rows
    ]
    return told, set(of)


def _notes(
    same: Sequence[str], copies: int, effects: Sequence[PooledEffect], agreed: int
) -> list[str]:
    notes = [*same]
    if copies:
        notes.append(f"{copies} of them with the same records as another: pooled once.")
    if agreed > MOST_LISTED:
        notes.append(f"Clients are not listed one by one where more than {MOST_LISTED} are pooled.")
    elif agreed > MOST_LISTED_THROUGHOUT:
        notes.append(
            f"With more than {MOST_LISTED_THROUGHOUT} pooled, clients are listed one by one only "
            "where something is clear or a hint."
        )
    if not effects:
        notes.append("Nothing is pooled: too few clients agreed, or have the same habits.")
    return notes
