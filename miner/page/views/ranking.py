"""The main job: the records are ranked, and the list is shown."""

from __future__ import annotations

from starlette.responses import Response

from miner import api
from miner.brief.text.ranking import ranking_parts
from miner.page.asked import Asked, Desk
from miner.page.jobs import Progress
from miner.page.render import page
from miner.page.rule_change import differs
from miner.page.shelf import Entry, Looked
from miner.page.views.client import name_of, read_or_fault


def show(asked: Asked) -> Response:
    """Show the last ranking of these records, or the way to one."""
    entry, fault = read_or_fault(asked)
    looked = None if entry is None else asked.desk.shelf.last_ranking(entry)
    if entry is None or looked is None:
        report = entry.report() if entry is not None else None
        need = entry.rules.guardrails.fewest_days_to_rank if entry is not None else 0
        return page(
            asked, "rank.html", client=name_of(entry, asked), fault=fault, report=report, need=need
        )
    ranking = looked.brief.ranking
    parts = ranking_parts(ranking, entry.rules, display_unit=entry.unit)
    detail = ranking_parts(ranking, entry.rules, display_unit=entry.unit, detail=True)[len(parts) :]
    return page(
        asked, "ranking.html", client=name_of(entry, asked), parts=parts, detail=detail,
        ids=ids(asked, looked), ranked=ranking.status == "ranked", differs=differs(entry.rules),
    )  # fmt: skip


def ids(asked: Asked, looked: Looked) -> dict[str, str]:
    """Return the addresses of the patterns of a ranking, by ID."""
    return {item.id: asked.at("patterns", item.id) for item in looked.brief.ranking.hypotheses}


def begin(asked: Asked) -> Response:
    """Begin a ranking of the records as they are now."""
    folder, desk, done = asked.folder, asked.desk, asked.at("ranking")

    def work(progress: Progress) -> str:
        entry = desk.shelf.entry(folder)
        look(desk, entry, progress)
        return done

    return asked.later("rank", "Ranking", done, work)


def look(
    desk: Desk,
    entry: Entry,
    progress: Progress,
    include: tuple[str, ...] = (),
    trial: str | None = None,
) -> Looked:
    """Rank a client's records and keep what was found for as long as the page runs.

    Raises:
        MinerError: the records cannot be ranked as they stand.
    """
    brief = api.briefing(
        entry.client, entry.rules, include=include, trial=trial, together=True, progress=progress
    )
    found = Looked(entry.key, brief, include)
    desk.shelf.looked[entry.client.folder.name] = found
    return found
