"""What was kept, what new days say of it, what a test showed, and the whole story."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.responses import Response

from miner import steps
from miner.core.messages import MinerError, message
from miner.page.jobs import Progress
from miner.page.places import one_line
from miner.page.render import page
from miner.page.request import PageRequest
from miner.page.state import made_of
from miner.rulebook import RuleBook
from miner.steps import followup_state
from miner.words.follow import follow_parts
from miner.words.history import history_parts
from miner.words.plan import result_parts
from miner.words.said import rules_at_door
from miner.words.sentences import factor_phrase, outcome_label, way_words

if TYPE_CHECKING:
    from miner.ledger import Kept


def show(request: PageRequest) -> Response:
    """Show everything kept, and what was read of it."""
    folder, results = request.folder, request.results
    entry, fault = request.read_or_fault()
    rules = rules_at_door(entry.rules if entry is not None else steps.load_rules(None, folder))
    story = followup_state(folder)
    parts, tests, last = [], [], None
    if entry is not None:
        read = made_of(results.following, entry.key)
        parts = follow_parts(read, rules, display_unit=entry.unit) if read is not None else []
        found = [results.tests.get(plan.name) for plan in story.plans]
        tests = [result_parts(one, rules, display_unit=entry.unit) for one in found if one]
        try:
            last = entry.dates()[-1]
        except (MinerError, IndexError):
            last = None
    return page(
        request,
        "followup.html",
        fault=fault,
        first=entry.before if entry is not None else [],
        kept=[_kept(item, rules, last) for item in story.kept],
        parts=parts,
        results=tests,
    )


def _kept(item: Kept, rules: RuleBook, last: str | None) -> dict[str, object]:
    what = item.what
    names = " and ".join(factor_phrase(name, rules, what.unit_of) for name in what.factors)
    label = outcome_label(what.outcome, rules, what.unit_of)
    state = "open"
    if item.dropped is not None:
        state = "given up"
    elif item.verdict is not None:
        state = "read"
    elif not item.open_on(last):
        state = "closed"
    return {
        "id": item.id,
        "title": f"{names[:1].upper()}{names[1:]}, and {label}",
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

    def work(_: Progress) -> None:
        entry = request.entry()
        found = steps.follow(entry.client, entry.rules, remember=True)
        request.results.following = (entry.key, found)

    return request.later("follow", message("page.job_follow"), work, request.at("follow-up"))


def drop(request: PageRequest) -> Response:
    """Give something up; it never gets a verdict."""
    said = steps.drop(request.entry().client, request.text("id"))
    return request.go(request.at("follow-up"), said)


def result(request: PageRequest) -> Response:
    """Read an alternating test; once, when it is over, or when the client has stopped."""
    name, stopped = request.text("plan"), bool(request.text("stopped"))

    def work(_: Progress) -> None:
        entry = request.entry()
        found = steps.result(entry.client, name, entry.rules, stopped=stopped)
        request.results.tests[name] = found

    key = f"result {name} {stopped}"
    return request.later(key, message("page.job_result"), work, request.at("follow-up"))


def history(request: PageRequest) -> Response:
    """Show the story of the client's questions."""
    entry, _ = request.read_or_fault()
    told: dict[str, Any] = {"fault": "", "parts": []}
    try:
        rules = steps.load_rules(None, request.folder)
        found = steps.history(request.folder, rules)
        told |= {"client": found.client, "parts": history_parts(found, rules_at_door(rules))}
    except MinerError as error:
        told["fault"] = one_line(error)
    first = entry.before if entry is not None else []
    return page(request, "history.html", first=first, **told)
