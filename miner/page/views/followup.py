"""What was kept, what new days say of it, what a test showed, and the whole story."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from starlette.responses import Response

from miner import steps
from miner.core.messages import MinerError, message
from miner.core.results.follow import LEAVE
from miner.page.jobs import Progress
from miner.page.places import one_line
from miner.page.render import DRAWING, page
from miner.page.request import PageRequest
from miner.page.state import made_of
from miner.render.drawn import Drawn, follow_drawing
from miner.render.figures.inline import Styles
from miner.rulebook import RuleBook
from miner.steps import followup_state
from miner.words.amounts import Amounts
from miner.words.follow import kept_title
from miner.words.followed import Followed
from miner.words.history import history_parts
from miner.words.plan import result_parts
from miner.words.said import rules_at_door
from miner.words.sentences import factor_phrase, outcome_label, way_words
from miner.words.wording import say

if TYPE_CHECKING:
    from miner.core.results.noting import NotTicked
    from miner.ledger import Kept


def show(request: PageRequest) -> Response:
    """Show everything kept: what was read of it as a picture, the rest as counts."""
    folder, styles = request.folder, Styles()
    entry, fault = request.read_or_fault()
    rules = rules_at_door(entry.rules if entry is not None else steps.load_rules(None, folder))
    story = followup_state(folder)
    told: list[dict[str, Any]] = [{} for _ in story.kept]
    notes, results, left, last = [], [], [], None
    if entry is not None:
        try:
            found = steps.follow(entry.client, entry.rules)
            read = made_of(request.results.following, entry.key) or found
            notes, last = list(map(str, read.notes)), found.last_day
            left = [
                {"id": one.id, "on": one.on, "title": kept_title(one, rules)} for one in found.left
            ]
            followed = [Followed(one, rules, Amounts(entry.unit)) for one in found.kept]
            told, styles = _told(request, followed)
        except MinerError as error:
            fault = fault or one_line(error)
        tests = [request.results.tests.get(plan.name) for plan in story.plans]
        shown = {name for one in told if one.get("verdict") for name in [one["plan"]]}
        unread = [one for one in tests if one is not None and one.plan not in shown]
        results = [result_parts(one, rules, display_unit=entry.unit) for one in unread]
    newest = {item.id: item.entry.n for item in story.kept}
    chosen = [one.what.id for one in story.still_left]
    kept = [
        _kept(item, rules, last)
        | one
        | {"may_choose": newest[item.id] == item.entry.n and item.id not in chosen}
        for item, one in zip(story.kept, told, strict=True)
    ]
    return page(
        request,
        "followup.html",
        styles=styles,
        fault=fault,
        paused=entry.paused(story.plans) if entry else {},
        kept=[item for item in kept if item.get("verdict")],
        others=[item for item in kept if not item.get("verdict")],
        left=left,
        notes=notes,
        last=last,
        only_counted=say(rules, "follow", "only_counted"),
        results=results,
        start=_later(max(date.today().isoformat(), last or "")),
        not_ticked=_not_ticked(request),
    )


def _not_ticked(request: PageRequest) -> tuple[NotTicked, ...]:
    """Return the days without a tick; none where the ticks cannot be read, as its page tells."""
    yesterday = date.today() - timedelta(days=1)
    try:
        return steps.days_not_ticked(request.folder, yesterday.isoformat())
    except MinerError:
        return ()


def _told(request: PageRequest, followed: list[Followed]) -> tuple[list[dict[str, Any]], Styles]:
    """Return the words of everything kept, each with its picture where there is a verdict."""
    drawings = [follow_drawing(one) for one in followed]

    def draw(styles: Styles) -> list[Drawn | None]:
        with DRAWING:
            return [None if one is None else one.both(styles) for one in drawings]

    of = [(one.item, one.amounts) for one in followed]
    drawn, styles = request.state.follow_figures.get((request.code, "follow-up"), of, draw)
    return [a.told() | {"drawn": b} for a, b in zip(followed, drawn, strict=True)], styles


def _later(day: str) -> str:
    return (date.fromisoformat(day) + timedelta(days=1)).isoformat()


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
        "n": item.entry.n,
        "state_word": state,
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


def leave(request: PageRequest) -> Response:
    """Write that a pattern is left: it is neither tested nor followed."""
    id_ = request.text("id")

    def work(progress: Progress) -> None:
        entry = request.entry()
        steps.choose(entry.client, {id_: LEAVE}, entry.rules, progress=progress)

    return request.later(f"leave {id_}", message("page.job_leave"), work, request.at("follow-up"))


def take_up(request: PageRequest) -> Response:
    """Take back that a pattern was left; nothing of the ledger is erased."""
    steps.undo_choice(request.entry().client, request.text("id"))
    return request.go(request.at("follow-up"), message("page.left_taken_back"))


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
    told: dict[str, Any] = {"fault": "", "parts": []}
    try:
        rules = steps.load_rules(None, request.folder)
        found = steps.history(request.folder, rules)
        told |= {"client": found.client, "parts": history_parts(found, rules_at_door(rules))}
    except MinerError as error:
        told["fault"] = one_line(error)
    return page(request, "history.html", **told)
