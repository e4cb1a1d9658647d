"""A change of the practice's own rule book: in words, and on how many days a side would change."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tomlkit

from miner import rulebook, steps
from miner.caseload.places import RULES
from miner.core import resources
from miner.core.files import make_folder, write_whole
from miner.core.messages import MinerError
from miner.page.client_cache import ClientEntry
from miner.rulebook import RuleBook
from miner.words.pages import differing_rule

BOOK = "factors.toml"


@dataclass(frozen=True, slots=True)
class RuleTrial:
    """What a change of a habit would move.

    Attributes:
        at: where it would begin, as it was written.
        words: that in words.
        sides: for each client on how many days it would change sides, of how many.
    """

    at: str
    words: str
    sides: list[tuple[str, int, int]]


def rules_of(practice: Path) -> RuleBook:
    """Return the rule books of a practice."""
    own = practice / RULES
    return rulebook.load(*([own] if own.is_dir() and any(own.glob("*.toml")) else []))


def differs(rules: RuleBook) -> list[str]:
    """Return in words where the habits of a rule book begin elsewhere than as shipped."""
    shipped = rulebook.load()
    return [
        differing_rule(rule, shipped.factors[name])
        for name, rule in rules.factors.items()
        if name in shipped.factors
        and (rule.at, rule.cut) != (shipped.factors[name].at, shipped.factors[name].cut)
    ]


def changed(practice: Path, name: str, at: float) -> str:
    """Return the practice's ``factors.toml`` with one cut changed; nothing is written.

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


def tried(text: str) -> RuleBook:
    """Return the rule books with another ``factors.toml``.

    Raises:
        MinerError: it cannot be read.
    """
    with tempfile.TemporaryDirectory() as scratch:
        write_whole(Path(scratch) / BOOK, text, durable=False)
        return rulebook.load(Path(scratch))


def sides(entries: Sequence[ClientEntry], new: RuleBook, name: str) -> list[tuple[str, int, int]]:
    """Return for each client on how many of its days the habit would change sides, of how many.

    Args:
        entries: the clients as read.
        new: the rule books with the change.
        name: the factor, by day or by meal.
    """
    key = name.removeprefix("meal.")
    found = []
    for entry in entries:
        if new.factors[name].unit == "meal":
            old_table, new_table = (
                steps.meals(entry.client, books) for books in (entry.rules, new)
            )
        else:
            old_table, new_table = entry.days(), steps.days(entry.client, new)
        if key not in old_table.frame or key not in new_table.frame:
            continue
        usable = old_table.frame["usable"].to_numpy(bool)
        before, after = (table.frame[key].to_numpy(float) for table in (old_table, new_table))
        moved = ~((before == after) | (np.isnan(before) & np.isnan(after)))
        code = entry.client.settings.code
        found.append((code, int((moved & usable).sum()), int(usable.sum())))
    return found


def write(practice: Path, text: str) -> None:
    """Write the practice's own ``factors.toml``, whole or not at all."""
    make_folder(practice / RULES)
    write_whole(practice / RULES / BOOK, text)
