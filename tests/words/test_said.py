"""Texts by their code: what stands in braces, pages, nearest words, examples of findings."""

from __future__ import annotations

import pickle
import tomllib
from dataclasses import replace
from importlib import resources
from string import Formatter

import pytest

from miner.core.messages import MinerError, message
from miner.core.results import Finding, Severity
from miner.words import said

BOOK = {
    "locked": {
        "text": "{who} has {nights:night}, {nights:?is|are} {how}",
        "found": "there is no file '{name}' among {names:quoted}",
        "expected": "{share:.0f} %: {names}",
        "do": "Correct it.",
        "do_page": "Correct it here.",
    }
}


@pytest.fixture(autouse=True)
def book(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(said, "_book", lambda _: BOOK)


def test_values_are_counted_listed_and_quoted() -> None:
    values = {
        "who": message("any.locked", who="A", nights=1, how="x", name="", names=(), share=0.0)
    }
    values |= {"nights": 2, "how": "found", "name": "run again", "names": ("a", "b", "c")}
    texts = said.texts("any.locked", values | {"share": 12.4})
    assert texts["text"] == "A has 1 night, is x has 2 nights, are found"
    assert texts["found"] == "there is no file 'run again' among 'a', 'b', 'c'"
    assert texts["expected"] == "12 %: a, b and c"


def test_some_of_a_long_list_are_shown_and_a_list_is_counted() -> None:
    names = ("a", "b", "c", "d")
    shown = said._Filler("", {}).vformat(
        "{names:#day}: {names:first2}; {names:last3}; {names:first9}. {names:sentences}",
        (),
        {"names": names},
    )
    assert shown == "4 days: a, b and 2 more; b, c, d and 1 more; a, b, c, d. a. b. c. d"


def test_a_text_of_a_rule_book_is_filled_in() -> None:
    values = {"rule": "seen on {days}", "days": "2 days"}
    filler = said._Filler("", values)
    assert filler.vformat("{rule:filled}.", (), values) == "seen on 2 days."


def test_a_page_has_its_own_words_and_the_nearest_word_comes_first() -> None:
    values = {"who": "", "nights": 0, "how": "", "name": "{do}", "names": (), "share": 0.0}
    assert said.texts("any.locked", values)["do"] == "Correct it."
    assert said.texts("any.locked", values, "page")["do"] == "Correct it here."
    near = values | {"close": "sleep"}
    assert said.texts("any.locked", near, "page")["do"] == "Did you mean 'sleep'?"


def test_an_error_keeps_its_code_and_values_when_it_crosses_processes() -> None:
    values = {"who": "", "nights": 0, "how": "", "name": "b", "names": ["c"], "share": 1.0}
    error = MinerError("any.locked", file="a.csv", row=3, **values)
    again = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own
    assert (again.code, again.values, again.row) == ("any.locked", values, 3)
    assert again.message == (
        "a.csv, row 3: there is no file 'b' among 'c'. Expected 1 %: c. Correct it."
    )
    assert str(again) == error.message


def test_every_text_can_be_read_and_its_braces_are_names() -> None:
    for path in (resources.files("miner.words") / "texts").iterdir():
        for code, parts in tomllib.loads(path.read_text(encoding="utf-8")).items():
            kinds = {
                name.removesuffix("_page").removesuffix("_paper").removesuffix("_close")
                for name in parts
            }
            assert kinds <= {"text", "kind", "found", "expected", "do", "short"}, (path.name, code)
            whole = {"text"} <= kinds or {"found", "expected", "do"} <= kinds
            assert whole, (path.name, code)
            for text in parts.values():
                names = [name for _, name, _, _ in Formatter().parse(text) if name is not None]
                assert all(name.isidentifier() for name in names), (path.name, code)


def test_parts_of_a_finding_and_another_next_step() -> None:
    held = {"found": "{n:cell} of {column}", "expected": "a number", "do": "Correct them."}
    book = {"unread": held, "back": {"text": "Take it back."}, "of": {"text": "{of:what}; {of:do}"}}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(said, "_book", lambda _: book)
        item = Finding(
            Severity.NOTE, None, None, "a", 2, column="x", told_as="unread", examples=("'y'",)
        )
        assert (item.what, item.short, item.do) == (
            "2 cells of x ('y')",
            "2 cells of x",
            "Correct them.",
        )
        again = replace(item, instead="any.back")
        assert said.text_of(message("any.of", of=again.as_message())) == (
            "2 cells of x ('y'); Take it back."
        )


@pytest.mark.parametrize(
    ("found", "count", "told"),
    [
        ("{n:cell} of {column}", 2, True),
        ("a cell of {column}", 2, False),
        ("records: {done:commas}", 2, True),
        ("records: {done:commas}", 3, False),
    ],
)
def test_whether_the_words_name_the_count(
    monkeypatch: pytest.MonkeyPatch, found: str, count: int, told: bool
) -> None:
    book = {"seen": {"found": found, "expected": "", "do": ""}, "added": {"text": "{n} added"}}
    monkeypatch.setattr(said, "_book", lambda _: book)
    values = {"done": (message("any.added", n=2),)}
    item = Finding(Severity.NOTE, None, None, "seen", count, column="x", values=values)
    assert said.tells_count(item) is told
