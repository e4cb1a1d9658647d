"""The main job: the records are ranked, by day or by meal, all days or some, and shown."""

from __future__ import annotations

from starlette.responses import Response

from miner import steps
from miner.core.errors import MinerError
from miner.core.results import Ranking
from miner.page.asked import Asked, Desk
from miner.page.jobs import Progress
from miner.page.other_rankings import PLAIN, Choice, choice_of, held, others
from miner.page.render import DRAWING, page
from miner.page.rule_change import differs
from miner.page.shelf import Entry, Looked
from miner.page.views.client import name_of, read_or_fault
from miner.page.words import for_page
from miner.render.papers.pages import render
from miner.words.ranking import ranking_parts

FIRST = "preparation"


def show(asked: Asked) -> Response:
    """Show a ranking that was made of these records, or the way to one."""
    entry, fault = read_or_fault(asked)
    try:
        dates = entry.dates() if entry is not None else []
    except MinerError as error:
        entry, fault = None, for_page(error.message)
    if entry is None:
        return page(asked, "rank.html", client=name_of(entry, asked), fault=fault, report=None,
                    need=0, form=None)  # fmt: skip
    choice = choice_of(asked, entry)
    ranking = _made(asked, entry, choice)
    form = _form(asked, entry, choice, dates)
    if ranking is None:
        return page(
            asked, "rank.html", client=name_of(entry, asked), fault="", report=entry.report(),
            need=entry.rules.guardrails.fewest_days_to_rank, form=form,
        )  # fmt: skip
    parts = ranking_parts(ranking, entry.rules, display_unit=entry.unit)
    detail = ranking_parts(ranking, entry.rules, display_unit=entry.unit, detail=True)[len(parts) :]
    looked = asked.desk.shelf.last_ranking(entry)
    return page(
        asked, "ranking.html", client=name_of(entry, asked), parts=parts, detail=detail, form=form,
        ids=ids(asked, looked), ranked=looked is not None and ranking.status == "ranked",
        differs=differs(entry.rules), plain=choice == PLAIN, said_as=choice.words(entry),
        unit=ranking.unit,
    )  # fmt: skip


def _made(asked: Asked, entry: Entry, choice: Choice) -> Ranking | None:
    if choice != PLAIN:
        return held(asked, entry, choice)
    looked = asked.desk.shelf.last_ranking(entry)
    return None if looked is None else looked.brief.ranking


def _form(asked: Asked, entry: Entry, choice: Choice, dates: list[str]) -> dict[str, object]:
    """Return what the form of another ranking asks for, and the rankings there are."""
    return {
        "unit": choice.unit or entry.client.settings.rank_unit, "first": choice.first,
        "last": choice.last, "usual": entry.client.settings.rank_unit,
        "first_day": dates[0] if dates else "", "last_day": dates[-1] if dates else "",
        "meals": bool(len(entry.client.used("meals"))),
        "made": [
            (one.address(asked), one.words(entry), one == choice) for one in others(asked, entry)
        ],
    }  # fmt: skip


def ids(asked: Asked, looked: Looked | None) -> dict[str, str]:
    """Return the addresses of the patterns of the rankings by day and by meal, by ID."""
    if looked is None:
        return {}
    made = (looked.brief.ranking, looked.brief.by_meal)
    return {
        item.id: asked.at("patterns", item.id)
        for ranking in made if ranking is not None
        for item in ranking.hypotheses
    }  # fmt: skip


def begin(asked: Asked) -> Response:
    """Begin a ranking of the records as they are now."""
    folder, desk = asked.folder, asked.desk
    choice = choice_of(asked, asked.entry())
    done = choice.address(asked)

    def work(progress: Progress) -> str:
        entry = desk.shelf.entry(folder)
        if choice == PLAIN:
            prepare(look(desk, entry, progress), entry)
            return done
        found = steps.rank(
            entry.client, entry.rules, unit=choice.unit or None, first=choice.first or None,
            last=choice.last or None, remember=True, progress=progress,
        )  # fmt: skip
        desk.found[(folder.name, choice.key)] = (entry.key, found)
        return done

    return asked.later(f"rank {choice.key}", "Ranking", asked.at("ranking"), work)


def prepare(looked: Looked, entry: Entry) -> None:
    """Make the page to prepare from, which takes longer than a page may."""
    with DRAWING:
        looked.pages[FIRST] = render(looked.brief, FIRST, entry.rules, looked.include)


def look(
    desk: Desk,
    entry: Entry,
    progress: Progress,
    include: tuple[str, ...] = (),
    trial: str | None = None,
    *,
    lineup: bool = False,
) -> Looked:
    """Rank a client's records and keep what was found for as long as the page runs.

    Raises:
        MinerError: the records cannot be ranked as they stand.
    """
    brief = steps.briefing(
        entry.client, entry.rules, include=include, trial=trial, lineup=lineup, together=True,
        remember=True, progress=progress,
    )  # fmt: skip
    found = Looked(entry.key, brief, include)
    desk.shelf.looked[entry.client.folder.name] = found
    return found
