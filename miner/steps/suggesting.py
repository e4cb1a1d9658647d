"""Questions to write down for a client, from the other clients of the practice who agreed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

from miner.caseload.fitting import FitTask, own_task, questions
from miner.caseload.places import client_folders
from miner.caseload.pooling import MIN_CLIENTS, fewest_clients, strongest, suggest
from miner.caseload.running import Pace, Progress
from miner.caseload.store import NAME, Store, folder_of_unit
from miner.core.messages import MinerError
from miner.core.results.caseload import ClientRow, Suggested, Suggestion
from miner.core.unit import Unit
from miner.records import read_client
from miner.records.check.one_person import day_prints, same_days
from miner.records.client import Client
from miner.records.read.settings import read_settings
from miner.rulebook import RuleBook
from miner.steps.caseload import Task, code_of, examine, suggestion_sentences
from miner.steps.client_ledger import folder_of, ledger_of, settings_of
from miner.steps.opening import rules_of
from miner.steps.who_is_pooled import who_is_pooled


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
    stores = {
        unit: Store(folder_of_unit(practice / NAME, unit))
        for unit in (Unit if len(names) >= MIN_CLIENTS else ())
    }
    pace = Pace(len(names), progress, "clients")
    for name in names if stores else ():
        _keep_units(str(practice), name, stores, draws)
        pace.step()
    for unit, store in stores.items():
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


def _keep_units(practice: str, name: str, stores: Mapping[Unit, Store], draws: int | None) -> None:
    """Bring what is kept of a client's days and meals up to date; its files are read once."""
    read = cache(read_client)
    for unit, store in stores.items():
        head = store.head(name)
        known = head.fingerprint if head is not None else None
        task = Task(practice, name, unit, known, draws, units_only=True)
        content = examine(task, read)[1]
        if content is not None:
            store.save(name, content)


def _agreed(folder: Path) -> bool:
    """Say whether a folder is that of a client who agreed to be pooled; nothing else is read."""
    try:
        return bool(read_settings(folder, folder.parent).pooled)
    except MinerError:
        return False


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
        and code_of(row) != code
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
