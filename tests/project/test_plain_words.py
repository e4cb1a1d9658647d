"""Habits of writing that made the program hard to read are in no text that it prints."""

from __future__ import annotations

import re

import pytest
from printed import in_books, in_code, in_templates

UNLEARNED = {
    "told, for reported or noted": (
        r"\b(is|are|was|were|been|be) told\b|\btold (by|apart)\b|, as told\b"
    ),
    "stands or lies, for is": r"\b(stands?|stood|lies|lay)\b(?! (out|up)\b)",
    "an old word": r"\b(anew|foretell\w*|hence|thus|thereby|whereof|ere|upon)\b",
    "beside, for next to or besides": r"\bbeside\b",
    "a private picture": (
        r"\b(coins?|sieves?|wobble|guard|shelf|price of|verdict is spent|one more chance)\b"
    ),
    "is no X, for is not an X": (
        r"(?<!there )\b(is|are|was|were) no "
        r"(?!(more|less|fewer|longer|later|larger|earlier)\b)\w+"
    ),
    "Who does this, without a subject": r"(^|[.:;] )Who(ever)? [a-z][^?.]*\.",
    "what a program calls a habit": r"\b(the|with|by) tag [a-z]+\b",
    "another name for a thing": (
        r"\b(wake glucose|overnight mean|mean over the day|ups and downs|higher quarter"
        r"|usable days?|open ideas?|ideas? kept)\b"
    ),
    "a word of the code": (
        r"\b(factors?|outcomes?|hypothes[ei]s|covariates?|units?_\w+)\b(?!\.toml)"
    ),
    "asked, of a pattern that was checked": r"\b(questions were asked|not asked:|was asked about)",
    "nearer": r"\bcame nearer\b",
}
"""What each habit is, and the pattern that finds it."""

NOT_YET: set[str] = set()
"""Files that still have such habits. Nothing is ever added here."""


def found_in(text: str) -> list[tuple[str, str]]:
    """Return each habit found in a text, with the words around it."""
    return [
        (habit, text[max(0, hit.start() - 40) : hit.end() + 40])
        for habit, pattern in UNLEARNED.items()
        for hit in re.finditer(pattern, text, flags=re.IGNORECASE)
    ]


def test_no_habit_to_unlearn_is_in_a_text() -> None:
    texts = [
        one
        for one in (*in_books(), *in_templates(), *in_code("words", "render", "cli", "page"))
        if " " in one[1]
    ]
    found = [(file, *hit) for file, text in texts for hit in found_in(text)]
    assert [hit for hit in found if hit[0] not in NOT_YET] == []
    assert {hit[0] for hit in found} == NOT_YET


@pytest.mark.parametrize(
    "text",
    [
        "Fixed on 3 May, as told.",
        "It stands for meals spread over 12 hours.",
        "It was foretold; they foretell it.",
        "Beside a short night, little is left.",
        "Chance alone, by coins.",
        "This is no safety watch.",
        "Who never uses a terminal again opens the page.",
        "Often along with it: the tag restaurant.",
        "in your higher quarter for wake glucose",
        "The outcome is missing on 1 day.",
        "203 questions were asked.",
        "All habits together came nearer.",
    ],
)
def test_a_habit_would_be_found(text: str) -> None:
    assert found_in(text)
