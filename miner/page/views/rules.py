"""The rule book in words, and a change of it: told in days, never in results."""

from __future__ import annotations

import tempfile
import threading
from contextlib import suppress
from functools import partial
from pathlib import Path

import numpy as np
import tomlkit
from starlette.responses import RedirectResponse, Response

from miner import rulebook, steps
from miner.core import resources
from miner.core.files import RULES, make_folder, write_whole
from miner.core.messages import MinerError, message
from miner.page.client_cache import ClientEntry
from miner.page.jobs import Progress
from miner.page.places import address, clients_of
from miner.page.render import page
from miner.page.request import PageRequest
from miner.page.state import RuleTrial
from miner.rulebook import RuleBook
from miner.words.amounts import amounts_now
from miner.words.pages import cut_words
from miner.words.said import rules_at_door

BOOK = "factors.toml"
_WRITING = threading.Lock()


def show(request: PageRequest) -> Response:
    """Show every habit, outcome and guardrail in words."""
    rules, shipped = rules_at_door(request.state.rules), rulebook.load().factors
    factors = [
        (name, rule, cut_words(rule), name in shipped and rule.at != shipped[name].at)
        for name, rule in rules.factors.items()
    ]
    return page(
        request,
        "rules.html",
        outcomes=list(rules.outcomes.values()),
        limit=partial(amounts_now().told, "limit"),
        guard=rules.guardrails,
        by_day=[row for row in factors if row[1].unit == "day"],
        by_meal=[row for row in factors if row[1].unit == "meal"],
        cautions=rules.cautions,
    )


def one(request: PageRequest) -> Response:
    """Show one habit and the form that changes where it begins."""
    name, shipped = request.path("name"), rulebook.load().factors
    rule = request.state.rules.factors.get(name)
    if rule is None:
        return RedirectResponse(address("rules"), status_code=303)
    trial = request.state.rule_trials.get(name)
    return page(
        request,
        "rule.html",
        name=name,
        rule=rule,
        cut=cut_words(rule),
        trial=trial if request.text("looked") else None,
        shipped=cut_words(shipped[name]) if name in shipped else "",
    )


def change(request: PageRequest) -> Response:
    """Count on how many days a side would change, or write the change down."""
    name, practice, state = request.path("name"), request.state.practice, request.state
    at = _number(request.text("at"))
    new = _tried(_changed(practice, name, at))
    words = cut_words(new.factors[name])
    if request.text("action") == "write":
        with _WRITING:
            make_folder(practice / RULES)
            write_whole(practice / RULES / BOOK, _changed(practice, name, at))
        said = message("page.rule_changed", habit=new.factors[name].phrase, cut=words)
        return request.go(address("rules"), said)

    def work(progress: Progress) -> None:
        found, names = [], clients_of(practice)
        for place, code in enumerate(names):
            progress(code, place / len(names))
            with suppress(MinerError):
                found += _sides(state.clients.entry(practice / code), new, name)
        state.rule_trials[name] = RuleTrial(f"{at:g}", words, found)

    to, back = address("rules", name) + "?looked=1", address("rules", name)
    return request.later(f"rule {name} {at}", message("page.job_sides"), work, to, back)


def _changed(practice: Path, name: str, at: float) -> str:
    """Return the practice's rule book of habits with one cut changed; nothing is written.

    Raises:
        MinerError: there is no such habit, or its cut has no number.
    """
    own = practice / RULES / BOOK
    held = (own if own.is_file() else resources.folder("rules") / BOOK).read_bytes()
    document = tomlkit.parse(held.decode("utf-8-sig"))
    table = document.get(name)
    if not isinstance(table, dict) or "at" not in table:
        raise MinerError("page.habit_without_number")
    table["at"] = int(at) if float(at).is_integer() else float(at)
    return tomlkit.dumps(document)


def _tried(text: str) -> RuleBook:
    """Return the rule books with another one of habits.

    Raises:
        MinerError: it cannot be read.
    """
    with tempfile.TemporaryDirectory() as scratch:
        write_whole(Path(scratch) / BOOK, text, durable=False)
        return rulebook.load(Path(scratch))


def _sides(entry: ClientEntry, new: RuleBook, name: str) -> list[tuple[str, int, int]]:
    """Return on how many of a client's days or meals a habit would change sides, of how many.

    Args:
        entry: the client as read.
        new: the rule books with the change.
        name: the factor, by day or by meal.
    """
    by_meal, key = new.factors[name].unit == "meal", name.removeprefix("meal.")
    old = (entry.meals() if by_meal else entry.days()).frame
    changed = (steps.meals if by_meal else steps.days)(entry.client, new).frame
    if key not in old or key not in changed:
        return []
    usable = old["usable"].to_numpy(bool)
    before, after = (frame[key].to_numpy(float) for frame in (old, changed))
    moved = ~((before == after) | (np.isnan(before) & np.isnan(after)))
    return [(entry.client.settings.code, int((moved & usable).sum()), int(usable.sum()))]


def _number(text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError as error:
        raise MinerError("page.not_a_number", text=text[:20]) from error
    if not 0 <= value <= 100_000:
        raise MinerError("page.number_out_of_reach")
    return value
