"""The four pages of the brief: what is shared is chosen, and written down."""

from __future__ import annotations

from typing import Any

from starlette.responses import RedirectResponse, Response

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.results import Evidence
from miner.core.results.briefing import KINDS, SHARED_KINDS
from miner.page.jobs import Progress
from miner.page.places import Missing
from miner.page.render import make_page, own_page, page
from miner.page.request import PageRequest, attached
from miner.page.views.choosing import with_choices
from miner.render.pages import drawn_page
from miner.steps import followup_state
from miner.words.pages import CHOICES_BY_UNIT, SHARED_PAGES
from miner.words.sentences import evidence_of
from miner.words.teller import Teller

SHOWN = (Evidence.CLEAR, Evidence.HINT)


def show(request: PageRequest) -> Response:
    """Show what can be chosen, and the pages that were made."""
    entry = request.entry()
    cached = request.state.clients.last_ranking(entry)
    if cached is None:
        return request.go(request.at("ranking"), message("page.rank_first"))
    by_unit = [_choices(one, cached.include) for one in Teller(cached.brief, entry.words).each()]
    return page(
        request,
        "sharing.html",
        by_unit=by_unit,
        words=SHARED_PAGES,
        made=[kind for kind in KINDS if kind in cached.pages],
        kinds=SHARED_KINDS,
        shared=cached.brief.shared,
        plans=[plan.name for plan in followup_state(request.folder).plans],
        calm=cached.brief.calm,
    )


def _choices(teller: Teller, chosen: tuple[str, ...]) -> dict[str, Any]:
    """Return what can be chosen of one ranking: what it showed or was asked, and the others."""
    rows = [
        {
            "id": item.id,
            "title": teller.title(item),
            "evidence": evidence_of(item, teller.rules),
            "food": teller.about_food(item),
            "chosen": item.id in chosen,
            "shown": item.evidence in SHOWN or item.family == "fixed",
        }
        for item in teller.brief.ranking.hypotheses
    ]
    return {
        "legend": CHOICES_BY_UNIT[teller.unit],
        "rows": [row for row in rows if row["shown"]],
        "others": [row for row in rows if not row["shown"]],
    }


def make(request: PageRequest) -> Response:
    """Make the pages with what was chosen, and write down what is to be shared."""
    ids, trial = request.texts("include"), request.text("plan") or None
    lineup, held = bool(request.text("lineup")), request.state.clients
    kinds = tuple(kind for kind in SHARED_KINDS if kind in request.texts("kind"))
    if not kinds:
        raise MinerError("page.no_page_chosen")

    def work(progress: Progress) -> None:
        entry = request.entry()
        before = held.last_ranking(entry)
        include = before.chosen(ids) if before is not None else tuple(ids)
        found = held.rank(entry, progress, include, trial, lineup=lineup)
        for kind in ("preparation", *kinds):
            text = make_page(found, kind, entry.rules, drawn_page)
            if kind in SHARED_KINDS:
                steps.remember_shared(entry.client, found.brief, kind, include, text)

    key = f"pages-{ids}-{kinds}-{trial}-{lineup}"
    return request.later(key, message("page.job_pages"), work, request.at("pages"))


def one(request: PageRequest) -> Response:
    """Show one page as it was made, ready to print or to save as a file."""
    kind, entry = request.path("kind"), request.entry()
    cached = request.state.clients.last_ranking(entry)
    if cached is None:
        return RedirectResponse(request.at("pages"), status_code=303)
    if kind == "preparation" and kind not in cached.pages:
        make_page(cached, kind, entry.rules, drawn_page)
    if kind not in cached.pages:
        raise Missing("page.page_not_made")
    if request.text("save"):
        return own_page(cached.pages[kind], attached(f"{request.code}-{kind}.html"))
    served = kind == "session"
    return own_page(with_choices(request, entry, cached) if served else cached.pages[kind])
