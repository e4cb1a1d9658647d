"""What a practitioner notes of a clinician: the referral, what was agreed, and what that opens."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit import TOMLDocument

from miner.core.facts import TOPICS
from miner.core.messages import MinerError, Words, closest
from miner.core.results import CautionText
from miner.core.results.noting import ClinicianNoted, TopicHeld
from miner.records.client import Clinician, Settings
from miner.records.read.files import read_toml
from miner.records.read.settings import ClientFile
from miner.records.write.settings_file import WRITING, change
from miner.rulebook import RuleBook
from miner.steps.client_ledger import settings_of
from miner.steps.opening import days, opened
from miner.tables import cautions
from miner.tables.referral import held_back

FILE = "client.toml"
EARLIEST_YEAR = 2000


def note_clinician(
    folder: Path,
    *,
    informed: date | None = None,
    agreed: date | None = None,
    covers: Sequence[str] = (),
    rules: RuleBook | None = None,
    now: datetime | None = None,
) -> ClinicianNoted:
    """Write down that a client was told to see a clinician, or what the clinician agreed to.

    It is under ``[clinician]`` in ``client.toml``; what was there before is kept next to it,
    so that it can be taken back and a test knows how long it had to wait.

    Args:
        folder: the client's folder.
        informed: when the client was referred.
        agreed: when the clinician agreed.
        covers: what the agreement covers: sleep, stress, movement, meals.
        rules: the rule books.
        now: when it was noted; by default the clock's.

    Raises:
        MinerError: nothing is said, a date is to come or long past, an agreement does not say what
            it covers, a topic is unknown, or the file cannot be changed.
    """
    chosen = tuple(topic for topic in TOPICS if topic in _topics(covers))
    _require_whole(informed, agreed, chosen)
    today = now.date() if now else date.today()
    for day in (informed, agreed):
        if day is not None and not date(EARLIEST_YEAR, 1, 1) <= day <= today:
            code = "steps.day_to_come" if day > today else "steps.day_long_past"
            raise MinerError(code, day=day, today=today, first=EARLIEST_YEAR)
    with WRITING:
        held = settled_in(folder)
        entered = (now or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds")
        past = () if held == Clinician() else (replace(held, before=()),)
        told = replace(held, entered=entered, before=(*held.before, *past))
        if informed is not None:
            told = replace(told, informed=informed)
        if agreed is not None:
            told = replace(told, agreed=agreed, covers=chosen)
        return _written(folder, held, told, rules)


def take_clinician_back(folder: Path, rules: RuleBook | None = None) -> ClinicianNoted:
    """Put back what was under ``[clinician]`` before the last that was noted.

    Raises:
        MinerError: nothing was noted, or the file cannot be changed.
    """
    with WRITING:
        held = settled_in(folder)
        if not held.entered:
            raise MinerError("steps.nothing_to_take_back")
        told = Clinician()
        if held.before:
            told = replace(held.before[-1], before=held.before[:-1])
        return replace(_written(folder, held, told, rules), taken_back=True)


def settled_in(folder: Path) -> Clinician:
    """Return what ``client.toml`` says of a clinician.

    Raises:
        MinerError: the file cannot be read.
    """
    own = read_toml(folder / FILE, ClientFile).clinician
    return replace(own.settled(), before=tuple(each.settled() for each in own.before))


def _topics(covers: Sequence[str]) -> list[str]:
    found = [word.strip().casefold() for word in covers if word.strip()]
    for topic in found:
        if topic not in TOPICS:
            raise MinerError(
                "steps.no_such_topic", topic=topic[:40], known=TOPICS, close=closest(topic, TOPICS)
            )
    return found


def _require_whole(informed: date | None, agreed: date | None, covers: Sequence[str]) -> None:
    if informed is None and agreed is None and not covers:
        raise MinerError("steps.nothing_settled")
    if agreed is not None and not covers:
        raise MinerError("steps.agreed_without_covers", day=agreed, known=TOPICS)
    if covers and agreed is None:
        raise MinerError("steps.covers_without_agreed", covers=covers)


def _written(
    folder: Path, held: Clinician, told: Clinician, rules: RuleBook | None
) -> ClinicianNoted:
    """Write what is settled in place of what was, and return what that opens."""
    read, unread = _readable(folder, rules)
    first = read(settings_of(folder)) if read else ()
    change(folder / FILE, ClientFile, lambda document: _put(document, told))
    settings = settings_of(folder)
    after = read(settings) if read else ()
    held_now = [topic for topic in TOPICS if held_back(after, topic)[0]]
    free = [topic for topic in TOPICS if topic not in held_now]
    return ClinicianNoted(
        client=settings.code,
        informed=iso(told.informed),
        agreed=iso(told.agreed),
        covers=told.covers,
        covered_before=held.covers,
        open=() if unread else tuple(free),
        opened=tuple(topic for topic in free if held_back(first, topic)[0]),
        held=tuple(TopicHeld(topic, *_held(after, topic)) for topic in held_now),
        unread=unread,
    )


def _held(said: Sequence[CautionText], topic: str) -> tuple[str, tuple[CautionText, ...]]:
    found, lift = held_back(said, topic)
    return lift, found


def _readable(
    folder: Path, rules: RuleBook | None
) -> tuple[Callable[[Settings], tuple[CautionText, ...]] | None, Words]:
    """Return what finds the cautions under some settings, or why the records cannot be read."""
    try:
        client, books = opened(folder, rules)
        table = days(client, books)
    except MinerError as error:
        return None, error.as_message()
    return lambda settings: cautions(replace(client, settings=settings), table, books)[0], ""


def iso(day: date | None) -> str:
    """Return an ISO date, or nothing for none."""
    return day.isoformat() if day else ""


def _put(document: TOMLDocument, told: Clinician) -> None:
    table: Any = document.setdefault("clinician", tomlkit.table())
    values = _values(told) | {"before": [_values(each) for each in told.before]}
    for name in ("informed", "agreed", "covers", "entered", "before"):
        if values.get(name):
            table[name] = values[name]
        else:
            table.pop(name, None)
    if not table:
        document.remove("clinician")


def _values(told: Clinician) -> dict[str, Any]:
    """Return the keys of what was settled at one time, those that say something."""
    return {
        name: list(value) if isinstance(value, tuple) else value
        for name in ("informed", "agreed", "covers", "entered")
        if (value := getattr(told, name))
    }
