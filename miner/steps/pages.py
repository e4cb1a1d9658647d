"""Writes all four pages of a client, with what was found clear shown on them."""

from __future__ import annotations

from pathlib import Path

from miner.core.files import make_folder, write_whole
from miner.core.results import Evidence, Ranking
from miner.core.results.briefing import KINDS, MAX_ON_ONE_SIDE, SHARED_KINDS
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.everything import Page
from miner.steps.gathering import briefing
from miner.steps.ranking import Progress
from miner.steps.records import rules_of
from miner.steps.sharing import remember_shared


def write_pages(
    client: Client,
    ranking: Ranking,
    folder: Path,
    render: Page,
    rules: RuleBook | None = None,
    *,
    progress: Progress | None = None,
) -> tuple[Path, ...]:
    """Write the four pages of a client and return the files.

    What was found clear is chosen, but nothing about food: that is for a person to choose.

    Args:
        client: as read.
        ranking: of the same records, for what is chosen.
        folder: made where it is not there.
        render: how a page is made.
        rules: the rule books; by default those that apply to the client's folder.
        progress: told what is being done and the share done.

    Raises:
        OSError: the folder cannot be written.
    """
    books = rules_of(client, rules)
    chosen = [
        item.id
        for item in ranking.hypotheses
        if item.evidence is Evidence.CLEAR
        and not any(books.factor(name, ranking.unit).food for name in item.factors)
    ][:MAX_ON_ONE_SIDE]
    known = briefing(client, books, include=chosen, remember=True, progress=progress)
    make_folder(folder)
    written = []
    for kind in KINDS:
        path = folder / f"{kind}.html"
        page = render(known, kind, books, chosen)
        write_whole(path, page)
        if kind in SHARED_KINDS:
            remember_shared(client, known, kind, chosen, page)
        written.append(path)
    return tuple(written)
