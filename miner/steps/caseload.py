"""A whole practice: a row a client, effects pooled across those who agreed, questions suggested."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from miner.caseload.fits import KeptFits
from miner.caseload.fitting import FitTask, PooledQuestion, own_task, questions
from miner.caseload.places import client_folders, fetched, is_remote
from miner.caseload.pooling import (
    MAX_LISTED,
    MAX_LISTED_THROUGHOUT,
    MIN_CLIENTS,
    Pool,
    fewest_clients,
    pool_all,
    strongest,
    suggest,
)
from miner.caseload.question import OwnSlopes
from miner.caseload.running import Progress
from miner.caseload.store import (
    NAME,
    PAGES,
    Store,
    folder_of_unit,
    forget_in_other_unit,
    keep_spreads,
    read_pages,
)
from miner.core import VERSION, resources
from miner.core.messages import Message, MinerError, Words, by_rules, message
from miner.core.results import Evidence, Shape
from miner.core.results.caseload import Caseload, ClientRow, PooledEffect, Suggested, Suggestion
from miner.core.unit import Unit
from miner.records import read_client
from miner.records.check.one_person import day_prints, same_days
from miner.records.client import Client
from miner.records.read.files import read_toml
from miner.records.read.settings import PracticeFile, read_settings
from miner.rulebook import RuleBook
from miner.steps.client_ledger import folder_of, ledger_of, settings_of
from miner.steps.opening import draws_of, rules_of, whole_number
from miner.steps.who_is_pooled import look, who_is_pooled

Own = Sequence[tuple[PooledQuestion, dict[Shape, OwnSlopes]]]


def suggested_questions(
    client: Client | Path,
    rules: RuleBook | None = None,
    *,
    draws: int | None = None,
    progress: Progress | None = None,
) -> Suggested:
    """Return questions to fix for a client, from the other clients of the practice who agreed.

    Nothing of this client's records is used, nor of another folder with the same records, so that
    a question fixed today is a fixed question. What is read of the others is kept as by ``pool``.

    Args:
        client: as read, or a client folder that holds no records yet.
        rules: for the words; the others' records are judged by the practice's.
        draws: permutations of the others' rankings, as of ``pool``.
        progress: told what is being done and the share done.

    Raises:
        MinerError: the practice holds no client folder, or a rule book cannot be used.
    """
    folder = folder_of(client).resolve()
    practice, settings = folder.parent, settings_of(client)
    every = [name for name in client_folders(str(practice)) if name != folder.name]
    names = [name for name in every if _agreed(practice / name)]
    own_rules = rules_of(folder)
    found: list[Suggestion] = []
    counts, looked_at = [], 0
    for unit in ("day", "meal") if len(names) >= MIN_CLIENTS else ():
        store = Store(folder_of_unit(practice / NAME, unit))
        look(str(practice), names, store, unit, draws=draws, progress=progress)
        agreed = _without_copies(who_is_pooled(names, store).agreed, store, client)
        counts.append(len(agreed))
        questions, asked_of = _suggested_by(agreed, store, own_rules, unit)
        found, looked_at = [*found, *questions], looked_at + asked_of
    others = max(counts, default=len(names))
    asked = {(item.factor, item.outcome) for item in ledger_of(client).asked()}
    new = [item for item in found if (item.factor, item.outcome) not in asked]
    told = Suggested(
        settings.code,
        folder.name,
        others,
        fewest_clients(others),
        tuple(strongest(new)),
        looked_at,
        len(found) - len(new),
    )
    return suggestion_sentences(told, rules or own_rules, settings.display_unit)


def suggestion_sentences(found: Suggested, rules: RuleBook, display_unit: str) -> Suggested:
    """Return what is suggested for one client with each question's sentence."""
    questions = tuple(
        replace(
            item,
            sentence=by_rules(
                rules, "labels.across", item=item, unit=item.by, display_unit=display_unit
            ),
        )
        for item in found.questions
    )
    return replace(found, questions=questions)


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
    left_out = [
        [
            at
            for at, other in enumerate(agreed)
            if other.status == "error" or _code(other) == _code(row)
        ]
        for row in rows
    ]
    found = suggest(own, len(agreed), left_out, rules, unit)
    return tuple(
        Suggested(
            row.client,
            row.folder,
            len(agreed) - len(out),
            fewest_clients(len(agreed) - len(out)),
            tuple(questions),
            asked,
        )
        for row, out, (questions, asked) in zip(rows, left_out, found, strict=True)
    )


def _agreed(folder: Path) -> bool:
    """Say whether a folder is that of a client who agreed to be pooled; nothing else is read."""
    try:
        return bool(read_settings(folder, folder.parent).pooled)
    except MinerError:
        return False


def _code(row: ClientRow) -> str:
    """Return a client's own code: folders that say they are one client are left out together."""
    return row.client.removesuffix(f" in {row.folder}")


def _without_copies(
    agreed: Sequence[ClientRow], store: Store, client: Client | Path
) -> list[ClientRow]:
    """Return the others who could be used, but those who are this client by code or readings."""
    code = settings_of(client).code
    try:
        read = client if isinstance(client, Client) else read_client(client)
        mine = day_prints(read.streams["glucose"])
    except MinerError:
        mine = {}
    heads = {row.folder: store.kept(row.folder) for row in agreed}
    return [
        row
        for row in agreed
        if row.status != "error"
        and _code(row) != code
        and not same_days(mine, heads[row.folder].prints)
    ]


def _suggested_by(
    agreed: Sequence[ClientRow], store: Store, rules: RuleBook, unit: str
) -> tuple[list[Suggestion], int]:
    least = fewest_clients(len(agreed))
    if len(agreed) < MIN_CLIENTS:
        return [], 0
    with store.together([row.folder for row in agreed], least) as units:
        asked = questions(units.columns, rules, unit)
        tasks = [
            FitTask(at, question, units, rules.guardrails, unit, least, each=False)
            for at, question in enumerate(asked)
        ]
        own = [(task.question, own_task(task)[1]) for task in tasks]
    return suggest(own, len(agreed), [()], rules, unit)[0]


MAY_NAME_A_CLIENT = {".html", ".csv", ".json", ".txt", ".md", ".toml"}


def traces(
    practice: str, home: Path, left: list[ClientRow], withdrew: list[str], present: set[str]
) -> list[Message]:
    """Return what may still hold something of clients who are gone or withdrew, in sentences.

    Args:
        practice: its folder or address.
        home: the work folder, what was kept of them already removed.
        left: rows of the folders that are gone.
        withdrew: names of clients who no longer agree.
        present: codes of the clients who are there.
    """
    several = Counter(row.client for row in left) + Counter(present)
    told_as = [
        f"{row.client} in {row.folder}" if several[row.client] > 1 else row.client for row in left
    ]
    gone = sorted({row.client for row in left} - present)
    said = [message("steps.folder_gone", client=client, home=home.name) for client in told_as]
    said += [message("steps.withdrew", client=client) for client in withdrew]
    here = _files_that_name(practice, gone)
    said += [message("steps.still_named", clients=[client], place=name) for client, name in here]
    for page, clients in sorted(read_pages(home).items()):
        told = [client for client in gone if client in clients]
        if told and Path(page).is_file() and Path(page).parent != Path(practice).resolve():
            said.append(message("steps.still_named", clients=told, place=page))
    if said:
        said.append(message("steps.copies_elsewhere"))
    return said


def _files_that_name(practice: str, clients: list[str]) -> list[tuple[str, str]]:
    if is_remote(practice) or not clients:
        return []
    found = []
    for path in sorted(Path(practice).iterdir()):
        if path.is_file() and path.suffix.lower() in MAY_NAME_A_CLIENT:
            text = path.read_text(encoding="utf-8", errors="replace")
            found += [(client, path.name) for client in clients if client in text]
    return found


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


def keeps_results(practice: Path) -> bool:
    """Say whether results of clients are kept in a practice's own work folder."""
    return (practice / NAME).is_dir()


def keep_only(practice: Path, names: Sequence[str]) -> None:
    """Forget in a practice's own work folder every client but these."""
    if keeps_results(practice):
        Store(practice / NAME).forget_all_but(names)


def _of_practice(practice: str, name: str) -> tuple[RuleBook, PracticeFile]:
    with fetched(practice, name) as folder:
        settings = read_toml(folder.parent / "practice.toml", PracticeFile)
        return rules_of(folder), settings


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
    if agreed > MAX_LISTED:
        notes.append(message("steps.none_listed", most=MAX_LISTED))
    elif agreed > MAX_LISTED_THROUGHOUT:
        notes.append(message("steps.few_listed", most=MAX_LISTED_THROUGHOUT))
    if not effects:
        notes.append(message("steps.nothing_pooled"))
    return notes
