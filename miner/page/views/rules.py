"""The rule book in words, and a change of it: told in days, never in results."""

from __future__ import annotations

from contextlib import suppress

from starlette.responses import RedirectResponse, Response

from miner import rulebook
from miner.core.messages import MinerError, message
from miner.page import rule_change
from miner.page.client_cache import ClientEntry
from miner.page.jobs import Progress
from miner.page.places import client_folder, clients_of
from miner.page.render import page
from miner.page.request import PageRequest, address
from miner.records.write.settings_file import WRITING
from miner.words.pages import cut_words
from miner.words.said import rules_at_door


def show(request: PageRequest) -> Response:
    """Show every habit, outcome and guardrail in words."""
    rules, shipped = rules_at_door(rule_change.rules_of(request.state.practice)), rulebook.load()
    factors = [
        (
            name,
            rule,
            cut_words(rule),
            rule.at != shipped.factors[name].at if name in shipped.factors else False,
        )
        for name, rule in rules.factors.items()
    ]
    return page(
        request,
        "rules.html",
        outcomes=list(rules.outcomes.values()),
        guard=rules.guardrails,
        by_day=[row for row in factors if row[1].unit == "day"],
        by_meal=[row for row in factors if row[1].unit == "meal"],
        cautions=rules.cautions,
    )


def one(request: PageRequest) -> Response:
    """Show one habit and the form that changes where it begins."""
    name = request.path("name")
    rules, shipped = rule_change.rules_of(request.state.practice), rulebook.load()
    rule = rules.factors.get(name)
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
        shipped=cut_words(shipped.factors[name]) if name in shipped.factors else "",
    )


def change(request: PageRequest) -> Response:
    """Count on how many days a side would change, or write the change down."""
    name, practice, state = request.path("name"), request.state.practice, request.state
    at = _number(request.text("at"))
    text = rule_change.changed(practice, name, at)
    new = rule_change.tried(text)
    words = cut_words(new.factors[name])
    if request.text("action") == "write":
        with WRITING:
            rule_change.write(practice, rule_change.changed(practice, name, at))
        said = message("page.rule_changed", habit=new.factors[name].phrase, cut=words)
        return request.go(address("rules"), said)

    def work(progress: Progress) -> str:
        entries: list[ClientEntry] = []
        names = clients_of(practice)
        for place, code in enumerate(names):
            progress(code, place / len(names))
            with suppress(MinerError):
                entry = state.clients.entry(client_folder(practice, code))
                entry.days()
                entries.append(entry)
        found = rule_change.sides(entries, new, name)
        state.rule_trials[name] = rule_change.RuleTrial(f"{at:g}", words, found)
        return address("rules", name) + "?looked=1"

    return request.later(
        f"rule {name} {at}", message("page.job_sides"), address("rules", name), work
    )


def _number(text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError as error:
        raise MinerError("page.not_a_number", text=text[:20]) from error
    if not 0 <= value <= 100_000:
        raise MinerError("page.number_out_of_reach")
    return value
