"""Questions for one client that the records of the practice's other clients suggest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from miner.caseload.fitting import FitTask, PooledQuestion, own_task, questions
from miner.caseload.places import client_folders
from miner.caseload.pooling import (
    FEWEST_CLIENTS,
    MOST_LISTED_THROUGHOUT,
    fewest_clients,
    strongest,
    suggest,
)
from miner.caseload.question import OwnSlopes
from miner.caseload.running import Progress
from miner.caseload.store import NAME, Store, folder_of_unit
from miner.core.errors import MinerError
from miner.core.messages import by_rules
from miner.core.results import Shape
from miner.core.results.caseload import ClientRow, Suggested, Suggestion
from miner.records import read_client
from miner.records.check.one_person import day_prints, same_days
from miner.records.client import Client
from miner.records.read.settings import read_settings
from miner.rulebook import RuleBook
from miner.steps.past import folder_of, read_past, settings_of
from miner.steps.records import load_rules
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
    own_rules = load_rules(None, folder)
    found: list[Suggestion] = []
    counts, looked_at = [], 0
    for unit in ("day", "meal") if len(names) >= FEWEST_CLIENTS else ():
        store = Store(folder_of_unit(practice / NAME, unit))
        look(str(practice), names, store, unit, draws=draws, progress=progress)
        agreed = _without_copies(who_is_pooled(names, store).agreed, store, client)
        counts.append(len(agreed))
        questions, asked_of = _suggested_by(agreed, store, own_rules, unit)
        found, looked_at = [*found, *questions], looked_at + asked_of
    others = max(counts, default=len(names))
    asked = {(item.factor, item.outcome) for item in read_past(client).asked()}
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
    if len(rows) > MOST_LISTED_THROUGHOUT:
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
    if len(agreed) < FEWEST_CLIENTS:
        return [], 0
    with store.together([row.folder for row in agreed], least) as units:
        asked = questions(units.columns, rules, unit)
        tasks = [
            FitTask(at, question, units, rules.guardrails, unit, least, each=False)
            for at, question in enumerate(asked)
        ]
        own = [(task.question, own_task(task)[1]) for task in tasks]
    return suggest(own, len(agreed), [()], rules, unit)[0]
