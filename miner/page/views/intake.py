"""The intake: yes, no, or not asked; what the client's clock and pages are like."""

from __future__ import annotations

from zoneinfo import available_timezones

from starlette.responses import Response

from miner import steps
from miner.core.facts import TOPICS
from miner.core.messages import MinerError, message
from miner.page.render import page
from miner.page.request import PageRequest
from miner.steps.settings import (
    TREATED_RANGE,
    change_client,
    client_file,
    count_again,
    leave_out,
    stamp,
)


def show(request: PageRequest) -> Response:
    """Show the intake of a client."""
    held = client_file(request.folder)
    book = steps.load_rules(None, request.folder).cautions
    return page(
        request,
        "intake.html",
        client=held.code or request.code,
        questions=[
            (name, rule.asked, held.intake.get(name, "not_asked"), rule.when_yes)
            for name, rule in book.intake.items()
        ],
        held=held,
        topics=TOPICS,
        treated=message("page.range_when_treated", low=TREATED_RANGE[0], high=TREATED_RANGE[1]),
        zones=sorted(zone for zone in available_timezones() if "/" in zone),
        seen=stamp(request.folder / "client.toml"),
    )


def save(request: PageRequest) -> Response:
    """Write the intake into ``client.toml``."""
    folder, held = request.folder, client_file(request.folder)
    asked = steps.load_rules(None, folder).cautions.intake
    answers = {name: request.text(f"intake-{name}", "not_asked") for name in asked}
    values = {
        "time_zone": request.text("time_zone") or None,
        "calm": True if request.text("calm") else None,
        "pooled": {"yes": True, "no": False}.get(request.text("pooled")),
        "intake": {**held.intake, **answers},
        "clinician": held.clinician.model_dump(exclude_defaults=True)
        | {"treats_diabetes": bool(request.text("treats_diabetes"))},
        "laboratory": _laboratory(request),
    }
    change_client(folder, values, request.seen)
    return request.go(request.at(), message("page.intake_written"))


def settle(request: PageRequest) -> Response:
    """Write down what was settled with a clinician, or take the last of it back."""
    folder, held = request.folder, client_file(request.folder).clinician
    if request.text("undo"):
        found = steps.take_clinician_back(folder)
    else:
        told, agreed = request.day("informed"), request.day("agreed")
        covers = tuple(request.texts("covers"))
        same = agreed == held.agreed and set(covers) == set(held.covers)
        found = steps.note_clinician(
            folder,
            informed=None if told == held.informed else told,
            agreed=None if same else agreed,
            covers=() if same else covers,
        )
    code = "some" if found.open and found.held else "none" if found.held else "all"
    topics = {"open": found.open, "held": [one.topic for one in found.held]}
    return request.go(request.at("intake"), message(f"page.clinician_{code}", **topics))


def _laboratory(request: PageRequest) -> dict[str, str]:
    value = request.text("a1c").replace(",", ".")
    key = "a1c_mmol_mol" if request.text("a1c_unit") == "mmol/mol" else "a1c_percent"
    return {key: value} if value else {}


def drop_day(request: PageRequest) -> Response:
    """Leave a day out, with a reason; that is told in every ranking after a first one."""
    day, reason = request.day("day"), request.text("reason")
    if day is None or not reason:
        raise MinerError("page.left_out_incomplete")
    leave_out(request.folder, day, reason[:200])
    return request.go(request.at("days", day.isoformat()), message("page.day_left_out"))


def take_day(request: PageRequest) -> Response:
    """Take back that a day is left out; rankings tell of the change."""
    day = request.day("day")
    if day is not None:
        count_again(request.folder, day)
    to = request.at("days", str(day)) if day else request.at()
    return request.go(to, message("page.day_counts_again"))
