"""A truth value is no number in a book of one's own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from miner import rulebook
from miner.core import resources
from miner.core.messages import MinerError


def changed(home: Path, book: str, key: str, value: str) -> None:
    text = (resources.folder("rules") / book).read_text(encoding="utf-8")
    text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
    assert count == 1
    (home / book).write_text(text, encoding="utf-8")


@pytest.mark.parametrize("value", ["true", "false"])
@pytest.mark.parametrize(
    ("book", "key", "where"),
    [
        ("guardrails.toml", "largest_rule", "largest_rule"),
        ("guardrails.toml", "claim_level", "claim_level"),
        ("guardrails.toml", "hints_shown", "hints_shown"),
        ("outcomes.toml", "smallest_worth_it", "[wake_glucose] smallest_worth_it"),
        ("factors.toml", "at", "[short_sleep] at"),
        ("factors.toml", "lag", "[short_sleep] lag"),
        ("cautions.toml", "illness_days_around", "illness_days_around"),
    ],
)
def test_true_and_false_are_refused_where_a_number_stands(
    tmp_path: Path, book: str, key: str, where: str, value: str
) -> None:
    changed(tmp_path, book, key, value if key != "lag" else f"{{ wake = {value} }}")
    with pytest.raises(MinerError) as told:
        rulebook.load(tmp_path)
    shown = value if key != "lag" else f"{{'wake': {value.title()}}}"
    assert told.value.found == f"{where} is {shown}"
    assert told.value.expected == "a number, not true or false"


def test_a_number_of_ones_own_is_read(tmp_path: Path) -> None:
    changed(tmp_path, "guardrails.toml", "largest_rule", "1")
    assert rulebook.load(tmp_path).guardrails.largest_rule == 1


def test_every_habit_says_how_its_number_is_computed() -> None:
    rules = rulebook.load()
    assert [name for name, rule in rules.factors.items() if not rule.definition] == []
