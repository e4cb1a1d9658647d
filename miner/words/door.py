"""Where something is said: at the command line, on paper, on a page, or to the client.

The command line names commands, a page names pages, and paper names neither: all three speak of
the client. What the client reads says "you".
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from miner.rulebook import RuleBook


OF_CLIENT = "_of_client"
"""What the key of a text that speaks of the client ends in; without it one text is for all."""


class Audience(StrEnum):
    """Who reads a document."""

    CLIENT = "client"
    PRACTITIONER = "practitioner"
    DOCTOR = "doctor"


def said_to(rules: RuleBook, audience: Audience) -> RuleBook:
    """Return the rule books with the texts that this audience reads.

    Args:
        rules: as read, their texts said to the client.
        audience: who reads what is made with them.
    """
    if audience is Audience.CLIENT:
        return rules
    outcomes = {
        name: rule.model_copy(update={"label": rule.label_of_client or rule.label})
        for name, rule in rules.outcomes.items()
    }
    wording = {name: _of_client(table) for name, table in rules.wording.items()}
    return rules.model_copy(update={"outcomes": outcomes, "wording": wording})


def _of_client(table: Any) -> Any:
    if not isinstance(table, dict):
        return table
    return {key: table.get(f"{key}{OF_CLIENT}", text) for key, text in table.items()}


Door = Literal["", "paper", "page", "client"]
"""Empty for the command line."""

_door: ContextVar[Door] = ContextVar("door", default="")


@contextmanager
def at_door(door: Door) -> Iterator[None]:
    """Word every code in this block as a door says it; of two blocks the inner one counts."""
    token = _door.set(door)
    try:
        yield
    finally:
        _door.reset(token)


def door_now() -> Door:
    """Return the door for which codes are worded now."""
    return _door.get()


_folder: ContextVar[str] = ContextVar("folder", default="CLIENT")


@contextmanager
def naming(folder: str) -> Iterator[None]:
    """Name a client's folder in every command of this block."""
    token = _folder.set(folder)
    try:
        yield
    finally:
        _folder.reset(token)


def name_from_now(folder: Path) -> None:
    """Name a client's folder in commands, to the end of the block that is open."""
    _folder.set(str(folder))


def folder_now() -> str:
    """Return the folder that commands name, as it was typed; ``CLIENT`` where none is open."""
    return _folder.get()
