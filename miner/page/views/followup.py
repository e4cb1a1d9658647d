"""What was kept, what new days say of it, what a test showed, and the whole story."""

from __future__ import annotations

from starlette.responses import Response

from miner import ledger, steps
from miner.core.messages import MinerError, message
from miner.ledger import Kept, replay
from miner.page.client_cache import ClientEntry
from miner.page.jobs import Progress
from miner.page.places import one_line
from miner.page.render import page
from miner.page.request import PageRequest
from miner.page.state import made_of
from miner.page.views.client import before, name_of, read_or_fault
from miner.rulebook import RuleBook
from miner.words.follow import follow_parts
from miner.words.history import history_parts
from miner.words.plan import result_parts
from miner.words.said import rules_at_door
from miner.words.sentences import factor_phrase, outcome_label, way_words


def show(request: PageRequest) -> Response:
    """Show everything kept, and what was read of it."""
    folder = request.folder
    entry, fault = read_or_fault(request)
    rules = rules_at_door(entry.rules if entry is not None else steps.load_rules(None, folder))
    story = replay(ledger.read(folder))
    parts: list[object] = []
    read = None if entry is None else made_of(request.results.following, entry.key)
    if entry is not None and read is not None:
        parts += follow_parts(read, rules, display_unit=entry.unit)
    results = []
    for item in story.kept:
        for plan in item.plans:
            found = request.results.tests.get(plan.name)
            if entry is not None and found is not None:
                results.append(result_parts(found, rules, display_unit=entry.unit))
    said = before(entry) if entry is not None else []
    return page(
        request,
        "followup.html",
        client=name_of(entry, request),
        fault=fault,
        first=said,
        kept=[_kept(item, rules, _last(entry)) for item in story.kept],
        parts=parts,
        results=results,
    )


def _last(entry: ClientEntry | None) -> str | None:
    """Return the last day of the records, where they can be read."""
    try:
        return entry.dates()[-1] if entry is not None else None
    except (MinerError, IndexError):
        return None


def _kept(item: Kept, rules: RuleBook, last: str | None) -> dict[str, object]:
    what = item.what
    unit = what.unit_of
    names = " and ".join(factor_phrase(name, rules, unit) for name in what.factors)
    label = outcome_label(what.outcome, rules, unit)
    title = f"{names[:1].upper()}{names[1:]}, and {label}"
    state = "open"
    if item.dropped is not None:
        state = "given up"
    elif item.verdict is not None:
        state = "read"
    elif not item.open_on(last):
        state = "closed"
    return {
        "id": item.id,
        "title": title,
        "how": way_words(item.as_, rules),
        "state": state,
        "on": item.entry.at[:10],
        "note": what.note,
        "read_on": what.read_on if item.as_ == "watch" else None,
        "plans": [(plan.name, plan.verdict is not None, plan.what.read_on) for plan in item.plans],
        "may_plan": item.as_ == "alternate" and state == "open" and item.plan_open() is None,
    }


def read(request: PageRequest) -> Response:
    """Read everything kept on days that did not suggest it; a verdict is written once."""
    folder, state, to = request.folder, request.state, request.at("follow-up")
    results = request.results

    def work(_progress: Progress) -> str:
        entry = state.clients.entry(folder)
        results.following = (
            entry.key,
            steps.follow(entry.client, entry.rules, remember=True),
        )
        return to

    return request.later("follow", message("page.job_follow"), to, work)


def drop(request: PageRequest) -> Response:
    """Give something up; it never gets a verdict."""
    entry = request.entry()
    return request.go(request.at("follow-up"), steps.drop(entry.client, request.text("id")))


def result(request: PageRequest) -> Response:
    """Read an alternating test; once, when it is over, or when the client has stopped."""
    folder, state, to = request.folder, request.state, request.at("follow-up")
    results, name, stopped = request.results, request.text("plan"), bool(request.text("stopped"))

    def work(_progress: Progress) -> str:
        entry = state.clients.entry(folder)
        results.tests[name] = steps.result(entry.client, name, entry.rules, stopped=stopped)
        return to

    return request.later(f"result {name} {stopped}", message("page.job_result"), to, work)


def history(request: PageRequest) -> Response:
    """Show the story of the client's questions."""
    folder = request.folder
    code, fault, parts = request.code, "", []
    try:
        rules = steps.load_rules(None, folder)
        found = steps.history(folder, rules)
        code, parts = found.client, history_parts(found, rules_at_door(rules))
    except MinerError as error:
        fault = one_line(error)
    entry, _ = read_or_fault(request)
    said = before(entry) if entry is not None else []
    return page(
        request,
        "history.html",
        client=code,
        fault=fault,
        first=said,
        parts=parts,
        ids=[str(event.payload.get("id")) for event in ledger.read(folder).events],
    )
