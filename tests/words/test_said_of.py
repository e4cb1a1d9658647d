"""What is said to a client in the rule books is said of the client to everybody else."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from miner import rulebook
from miner.words.said_of import all_of_client, of_client


@dataclass(frozen=True)
class Pair:
    one: str
    other: tuple[str, ...]


@pytest.mark.parametrize("section", ["sentence", "result", "tried", "evidence", "plan"])
def test_no_sentence_of_a_level_is_said_to_the_practitioner_s_client(section: str) -> None:
    """Read in the rule book itself: what a practitioner's page shows of it has no "your"."""
    words = rulebook.load().wording[section]
    skipped = {"tick"}  # printed on the client's own sheet alone
    for key, text in words.items():
        if key not in skipped:
            told = of_client(text).casefold()
            assert "your " not in told, (section, key)
            assert "you tested" not in told, (section, key)


def test_every_text_of_a_page_is_said_of_the_client_and_nothing_else_is_touched() -> None:
    said, told = "in your higher quarter", "in the client's higher quarter"
    page = {
        "a": said,
        "b": [said, 3, None],
        "c": (said, {"d": Pair(said, (said,))}),
        "e": "your tea",
    }
    assert all_of_client(page) == {
        "a": told, "b": [told, 3, None], "c": (told, {"d": Pair(told, (told,))}), "e": "your tea",
    }  # fmt: skip
    assert page["a"] == said
