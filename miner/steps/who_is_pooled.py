"""Looks at client folders, and says which of them are pooled: who agreed, each person once."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations

from miner.caseload.running import Pace, Progress, run
from miner.caseload.store import Store
from miner.core.messages import Message, message
from miner.core.results.caseload import ClientRow
from miner.records.check.one_person import told_of_same
from miner.steps.examine import Task, ended, examine


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
