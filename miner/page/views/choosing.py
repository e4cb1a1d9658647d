"""What is chosen on the session page: written down in one press, and taken back in one."""

from __future__ import annotations

from starlette.responses import Response

from miner import steps
from miner.core.messages import message
from miner.core.results.follow import TEST
from miner.page.client_cache import CachedRanking, ClientEntry
from miner.page.jobs import Progress
from miner.page.request import PageRequest
from miner.words.choosing import ChoiceForm

_OF = "choice-"
END = "#chosen"


def choose(request: PageRequest) -> Response:
    """Write down what was chosen, by controls or by the codes of a page that was saved."""
    session, undone = f"{request.at('pages', 'session')}{END}", request.text("undo")
    if undone:
        steps.undo_choice(request.entry().client, undone)
        return request.go(session)
    codes = request.text("codes").replace(",", " ").split()
    wishes = {
        name.removeprefix(_OF): request.text(name) for name in request.form if name.startswith(_OF)
    }
    request.results.wished = wishes

    def work(progress: Progress) -> None:
        entry = request.entry()
        if codes:
            steps.choose_by_code(entry.client, codes, entry.rules, progress=progress)
        else:
            steps.choose(entry.client, wishes, entry.rules, progress=progress)
        request.results.wished = {}

    to = request.at("follow-up") if codes else session
    back = request.at("pages") if codes else session
    return request.later(f"choose {wishes} {codes}", message("page.job_choose"), work, to, back)


def with_choices(request: PageRequest, entry: ClientEntry, cached: CachedRanking) -> str:
    """Return the session page as it is served: what stands is chosen, and more can be."""
    chosen = steps.chosen_now(entry.client, last=entry.dates()[-1])
    tests = [id_ for id_, item in chosen.items() if item.choice == TEST and not item.planned]
    form = ChoiceForm(
        action=request.at("choices"),
        key=request.state.keys.form,
        chosen=chosen,
        wished=request.results.wished,
        plans={id_: request.at("patterns", id_, "plan") for id_ in tests},
        start=entry.first_day_of_a_test(),
    )
    return cached.drawn["session"].text(form)
