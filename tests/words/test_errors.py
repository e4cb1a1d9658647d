"""Every error is whole sentences: file and row, what was found, what was expected, what to do."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from string import Formatter

import pytest

from miner.core.messages import MinerError, message
from miner.words.door import Door, at_door

ROOMS = ("caseload", "cli", "core", "records", "rulebook")
BOOKS = {
    f"{room}.{kind}": parts
    for path in (resources.files("miner.words") / "texts").iterdir()
    for room in ROOMS
    if path.name in (f"{room}.toml", f"{room}-b.toml")
    for kind, parts in tomllib.loads(path.read_text(encoding="utf-8")).items()
}
ERRORS = {code: parts for code, parts in BOOKS.items() if "found" in parts}
LISTS = ("commas", "or", "ands", "semicolons", "sentences")
FINDING = message("findings.file_missing", pattern="sensor.csv")
SENTENCE = r"(?<=[.?!])\s+"


def values_of(parts: dict[str, str]) -> dict[str, object]:
    """A value for each name in braces, of the kind that the text asks for."""
    asked = {
        name: spec or ""
        for text in parts.values()
        for _, name, spec, _ in Formatter().parse(text)
        if name is not None
    }
    return {
        name: FINDING
        if spec in ("what", "expected", "found", "do")
        else ["one", "two"]
        if spec in LISTS
        else 7
        if re.search(r"[.\d]*[fg%]$", spec)
        else "7"
        for name, spec in asked.items()
    }


def is_whole(sentence: str) -> bool:
    """It begins with a capital, a quotation, a number or an option, and ends."""
    return not sentence[0].islower() and sentence.endswith((".", "?", "!"))


@pytest.mark.parametrize("door", ["", "page"])
@pytest.mark.parametrize("code", ERRORS)
def test_an_error_is_whole_sentences_after_its_place(code: str, door: Door) -> None:
    values = values_of(ERRORS[code])
    with at_door(door):
        placed = MinerError(code, file="a.csv", row=3, **values).message
        alone = MinerError(code, **values)
        told, (found, expected, do) = alone.message, alone.sentences
    assert placed.startswith("a.csv, row 3: ")
    assert placed.endswith(f" {expected} {do}")
    assert re.match("Expected [^A-Z]|Expected (KEY|FHIR)", expected), expected
    for text in (found, expected, do):
        assert ".." not in text.replace("...", "")
        parts = re.split(SENTENCE, text.replace("mon ... sun", "mon to sun"))
        assert [part for part in parts if not is_whole(part)] == []
    assert told == f"{found} {expected} {do}"


def test_each_kind_of_value_has_a_text_of_what_is_expected() -> None:
    from miner.core.messages import VALUE_KINDS, expected_of

    assert {f"core.{kind}" for kind in VALUE_KINDS} <= BOOKS.keys()
    wrong = {"type": "greater_than_equal", "ctx": {"ge": 2}, "msg": ""}
    assert str(expected_of(wrong)) == "a number of 2 or more"
    assert str(expected_of({"type": "rulebook.no_truth", "msg": ""})).startswith("a number, not")
    assert "(odd)" in str(expected_of({"type": "strange", "msg": "odd"}))
