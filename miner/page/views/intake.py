"""The intake: yes, no, or not asked; what the client's clock and pages are like."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

import tomlkit
from starlette.responses import Response
from tomlkit import TOMLDocument

from miner import steps
from miner.core.messages import MinerError, message
from miner.page.render import page
from miner.page.request import PageRequest
from miner.records.read.settings import ClientFile
from miner.records.read.toml_file import read_toml
from miner.records.write.settings_file import change, set_key, stamp

ANSWERS = ("yes", "no", "not_asked")


def show(request: PageRequest) -> Response:
    """Show the intake of a client."""
    held = read_toml(request.folder / "client.toml", ClientFile)
    book = steps.load_rules(None, request.folder).cautions
    asked_about = [
        (name, rule.asked, held.intake.get(name, "not_asked"), rule.when_yes)
        for name, rule in book.intake.items()
    ]
    return page(
        request,
        "intake.html",
        client=held.code or request.code,
        questions=asked_about,
        held=held,
        zones=sorted(zone for zone in available_timezones() if "/" in zone),
        left_out=held.left_out,
        seen=stamp(request.folder / "client.toml"),
    )


def save(request: PageRequest) -> Response:
    """Write the intake into ``client.toml``."""
    rules = steps.load_rules(None, request.folder)
    answers = {name: request.text(f"intake-{name}", "not_asked") for name in rules.cautions.intake}
    if any(value not in ANSWERS for value in answers.values()):
        raise MinerError("page.intake_answer")

    def edit(document: TOMLDocument) -> None:
        set_key(document, "time_zone", request.text("time_zone") or None)
        set_key(document, "calm", True if request.text("calm") else None)
        pooled = {"yes": True, "no": False}.get(request.text("pooled"))
        set_key(document, "pooled", pooled)
        table: Any = document.setdefault("intake", tomlkit.table())
        for name, value in answers.items():
            table[name] = value

    change(request.folder / "client.toml", ClientFile, edit, request.seen)
    return request.go(request.at(), message("page.intake_written"))


def leave_out(request: PageRequest) -> Response:
    """Leave a day out, with a reason; that is told in every ranking after a first one."""
    day, reason = request.day("day"), request.text("reason")
    if day is None or not reason:
        raise MinerError("page.left_out_incomplete")

    def edit(document: TOMLDocument) -> None:
        table = tomlkit.table()
        table["date"] = day
        table["reason"] = reason[:200]
        held: Any = document.get("left_out")
        if held is None:
            held = document["left_out"] = tomlkit.aot()
        held.append(table)

    change(request.folder / "client.toml", ClientFile, edit)
    to = request.at("days", day.isoformat())
    return request.go(to, message("page.day_left_out"))


def count_again(request: PageRequest) -> Response:
    """Take back that a day is left out; rankings tell of the change."""
    day = request.day("day")

    def edit(document: TOMLDocument) -> None:
        held: Any = document.get("left_out") or []
        for place in reversed(range(len(held))):
            if str(held[place].get("date"))[:10] == str(day):
                del held[place]
        if "left_out" in document and not held:
            document.remove("left_out")

    change(request.folder / "client.toml", ClientFile, edit)
    to = request.at("days", str(day)) if day else request.at()
    return request.go(to, message("page.day_counts_again"))
