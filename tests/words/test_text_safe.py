from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.render.terminal import render
from miner.words.document import paragraph, table
from miner.words.safe import clean


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("late dinner", "late dinner"),
        ("caf\u00e9 \u05e7\u05e4\u05d4", "caf\u00e9 \u05e7\u05e4\u05d4"),
        ("a\x1b[31mred", "a<U+001B>[31mred"),
        ("a\u202eb", "a<U+202E>b"),
        ("a\u200eb\u200fc\u2066d", "a<U+200E>b<U+200F>c<U+2066>d"),
        ("bell\x07 nul\x00", "bell<U+0007> nul<U+0000>"),
        ("two\nlines\r\n\tthree\u2028four", "two lines three four"),
        ("lone\udc80", "lone<U+DC80>"),
        ("no\u00a0break", "no break"),
        ("", ""),
    ],
)
def test_what_cannot_be_seen_is_spelled_out(raw: str, shown: str) -> None:
    assert clean(raw) == shown


def test_a_long_text_ends_in_dots_at_the_limit() -> None:
    assert clean("x" * 10, 10) == "x" * 10
    assert clean("x" * 11, 10) == "x" * 7 + "..."
    assert len(clean("\x1b" * 100_000, 60)) <= 60


@settings(derandomize=True, max_examples=200)
@given(st.text(max_size=60))
def test_nothing_unseen_is_left(text: str) -> None:
    left = clean(text)
    unseen = {"Cc", "Cs", "Zl", "Zp"}
    assert not [mark for mark in left if unicodedata.category(mark) in unseen]
    assert not set(left) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f")


def test_markup_emoji_codes_and_addresses_stay_letters() -> None:
    hostile = "[red]x[/red] [/] :smile: [link=http://e.example]y[/link]"
    assert render([paragraph(hostile)]) == f"{hostile}\n"
    assert render(table(["[bold]a"], [[hostile]], indent=0)) == f"[bold]a\n{hostile}\n"


def test_a_long_word_is_folded_and_never_lost() -> None:
    shown = render([paragraph("y" * 200)], width=40)
    assert shown.replace("\n", "") == "y" * 200
    assert max(map(len, shown.splitlines())) == 40


def test_lines_carry_no_escape_codes_unless_styled() -> None:
    from miner.words.document import heading

    assert render([heading("One.")]) == "One.\n"
    assert render([heading("One.")], styled=True) == "\x1b[1mOne.\x1b[0m\n"


def test_what_stands_beside_nothing_is_set_in_like_what_stands_beside_a_number() -> None:
    from miner.words.document import item

    shown = render([item("7", "word " * 5, 2), item("", "word " * 5, 2)], width=18)
    rest = ["     word word", "     word"]
    assert shown.splitlines() == ["  7  word word", *rest, "     word word", *rest]
