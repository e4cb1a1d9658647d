"""The intake: yes, no, or not asked; what the client's clock and pages are like."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

import tomlkit
from starlette.responses import Response
from tomlkit import TOMLDocument

from miner import api
from miner.errors import MinerError
from miner.page.asked import Asked
from miner.page.render import page
from miner.page.settings_file import change
from miner.records.settings import ClientFile
from miner.records.toml_file import read_toml

ANSWERS = ("yes", "no", "not_asked")


def show(asked: Asked) -> Response:
    """Show the intake of a client."""
    held = read_toml(asked.folder / "client.toml", ClientFile)
    book = api.load_rules(None, asked.folder).cautions
    asked_about = [
        (name, rule.asked, held.intake.get(name, "not_asked"), rule.when_yes)
        for name, rule in book.intake.items()
    ]
    return page(
        asked, "intake.html", client=held.code or asked.code, questions=asked_about, held=held,
        zones=sorted(zone for zone in available_timezones() if "/" in zone),
        left_out=held.left_out,
    )  # fmt: skip


def save(asked: Asked) -> Response:
    """Write the intake into ``client.toml``."""
    rules = api.load_rules(None, asked.folder)
    answers = {name: asked.text(f"intake-{name}", "not_asked") for name in rules.cautions.intake}
    if any(value not in ANSWERS for value in answers.values()):
        raise MinerError("an answer is none of the three", "yes, no, or not asked", "Choose one.")

    def edit(document: TOMLDocument) -> None:
        _set(document, "time_zone", asked.text("time_zone") or None)
        _set(document, "calm", True if asked.text("calm") else None)
        pooled = {"yes": True, "no": False}.get(asked.text("pooled"))
        _set(document, "pooled", pooled)
        table: Any = document.setdefault("intake", tomlkit.table())
        for name, value in answers.items():
            table[name] = value

    change(asked.folder / "client.toml", ClientFile, edit)
    return asked.go(asked.at(), "The intake is written down.")


def leave_out(asked: Asked) -> Response:
    """Leave a day out, with a reason; that is told in every ranking after a first one."""
    day, reason = asked.day("day"), asked.text("reason")
    if day is None or not reason:
        raise MinerError(
            "the day or the reason is missing", "a day and why it is left out",
            "Write both: a ranking tells which days were left out after a first look.",
        )  # fmt: skip

    def edit(document: TOMLDocument) -> None:
        table = tomlkit.table()
        table["date"] = day
        table["reason"] = reason[:200]
        held: Any = document.get("left_out")
        if held is None:
            held = document["left_out"] = tomlkit.aot()
        held.append(table)

    change(asked.folder / "client.toml", ClientFile, edit)
    to = asked.at("days", day.isoformat())
    return asked.go(to, "This day is left out from now on. Rankings tell of it.")


def _set(document: TOMLDocument, key: str, value: object) -> None:
    if value is None:
        document.pop(key, None)
    elif key in document:
        document[key] = value
    else:
        body = [name for name in document if isinstance(document[name], dict | list)]
        if not body:
            document.add(key, tomlkit.item(value))
            return
        rest = {name: document.pop(name) for name in body}
        document.add(key, tomlkit.item(value))
        for name, item in rest.items():
            document.add(name, item)
