"""A whole practice: a row a client, and effects pooled across those who agreed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from miner import __version__
from miner.caseload.fits import KeptFits
from miner.caseload.places import client_folders, fetched, is_remote
from miner.caseload.pooling import (
    MOST_LISTED,
    MOST_LISTED_THROUGHOUT,
    Pool,
    fewest_clients,
    pool_all,
)
from miner.caseload.running import Progress
from miner.caseload.store import (
    NAME,
    PAGES,
    Store,
    folder_of_unit,
    forget_in_other_unit,
    read_pages,
)
from miner.core import resources
from miner.core.errors import MinerError
from miner.core.messages import Message, Words, by_rules, message
from miner.core.results import Evidence
from miner.core.results.caseload import Caseload, PooledEffect
from miner.core.unit import Unit
from miner.records.read.settings import PracticeFile
from miner.records.read.toml_file import read_toml
from miner.rulebook import RuleBook
from miner.steps.arguments import draws_of, whole_number
from miner.steps.records import load_rules
from miner.steps.spreads import keep_spreads
from miner.steps.suggesting import for_every_client, suggestion_sentences
from miner.steps.traces import traces
from miner.steps.who_is_pooled import look, who_is_pooled

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
    look(place, names, store, by, workers, scheduler, draws, progress)
    pooled = who_is_pooled(names, store)
    rows, agreed = pooled.rows, pooled.agreed
    forget_in_other_unit(home, by, [row.folder for row in rows if row.pooled])
    folders = [row.folder for row in agreed]
    told = [store.kept(name).told for name in folders] if len(folders) <= MOST_LISTED else []
    with threadpool_limits(1), store.together(folders, fewest_clients(len(folders))) as units:
        program = (__version__, resources.program_hash())
        kept = KeptFits(store, (*program, rules.hash, by, len(folders), units.digest()))
        effects, own, too_few = pool_all(
            Pool(units, agreed, told), rules, by, workers=workers, progress=progress, kept=kept
        )
    present = {store.kept(name).row.client for name in names}
    withdrew = [row.client for row in rows if row.folder in had_agreed and not row.pooled]
    found = Caseload(
        practice=Path(place).resolve().name or place,
        version=__version__,
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
        notes=(
            *_notes(pooled.notes, pooled.copies, effects, len(agreed)),
            *(
                [message("steps.second_pool", unit=by)]
                if by != (settings.rank_unit or "day")
                else []
            ),
        ),
        clear_by_chance=sum(row.clear_by_chance for row in rows),
        suggested=for_every_client(rows, agreed, own, rules, by),
    )
    keep_spreads(store, found)
    return with_sentences(found, rules)


def _second(unit: str, settings: PracticeFile) -> list[Message]:
    """Tell that each client's own list is a second look, where it is."""
    usual = unit == (settings.rank_unit or "day")
    return [] if usual else [message("steps.second_pool", unit=unit)]


def rules_of_practice(practice: Path | str) -> RuleBook:
    """Return the rule books that apply to a practice."""
    place = str(practice)
    return _of_practice(place, client_folders(place)[0])[0]


def remember_page(practice: Path | str, work: Path | None, page: Path, found: Caseload) -> None:
    """Note in the work folder that a page names these clients, so that it can be told later."""
    store = Store(work_folder(str(practice), work))
    pages = read_pages(store.folder)
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
        raise MinerError("steps.no_work_folder")
    return Path(practice) / NAME


def _of_practice(practice: str, name: str) -> tuple[RuleBook, PracticeFile]:
    with fetched(practice, name) as folder:
        settings = read_toml(folder.parent / "practice.toml", PracticeFile)
        return load_rules(None, folder), settings


def with_sentences(found: Caseload, rules: RuleBook) -> Caseload:
    """Return a caseload whose effects and suggestions are told."""
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


def _notes(
    same: Sequence[Words], copies: int, effects: Sequence[PooledEffect], agreed: int
) -> list[Words]:
    notes = [*same]
    if copies:
        notes.append(message("steps.pooled_once", count=copies))
    if agreed > MOST_LISTED:
        notes.append(message("steps.none_listed", most=MOST_LISTED))
    elif agreed > MOST_LISTED_THROUGHOUT:
        notes.append(message("steps.few_listed", most=MOST_LISTED_THROUGHOUT))
    if not effects:
        notes.append(message("steps.nothing_pooled"))
    return notes
