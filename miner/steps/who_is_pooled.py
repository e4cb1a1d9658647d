"""Which clients of a practice are pooled, each person once, and what is kept of any of them."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations
from pathlib import Path
from typing import TYPE_CHECKING

from miner.caseload.places import is_remote
from miner.caseload.store import NAME, PAGES, Store, read_pages
from miner.core.messages import Message, MinerError, message
from miner.records.check.one_person import told_of_same

if TYPE_CHECKING:
    from miner.core.results.caseload import Caseload, ClientRow


@dataclass(frozen=True, slots=True)
class PooledClients:
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


def who_is_pooled(names: Sequence[str], store: Store) -> PooledClients:
    """Return who of some client folders, all of them in the store, are pooled."""
    rows, notes = _told_apart([store.kept(name).row for name in names])
    rows, stopped = _same_readings_stopped(rows, store)
    rows, copies = _copies_told(rows, store)
    agreed = [row for row in rows if row.pooled and row.folder not in copies | stopped]
    return PooledClients(tuple(rows), tuple(agreed), len(copies), tuple(notes))


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


def remember_page(practice: Path | str, work: Path | None, page: Path, found: Caseload) -> None:
    """Note in the work folder that a page names these clients, so that it can be reported later."""
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
