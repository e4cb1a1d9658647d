"""No sentence that may be printed has more than 25 words, wherever it is written."""

from __future__ import annotations

import ast
import re

from printed import in_book, in_books, in_code, in_template, in_templates, said

LONGEST = 25
ROOMS = "core", "rulebook", "ledger", "records", "tables", "stats", "hypotheses", "followup"
ROOMS += "caseload", "steps", "words", "render", "cli", "page"


def long_sentences(text: str) -> list[str]:
    return [s for s in re.split(r"(?<=[.!?])\s+", text) if len(s.split()) > LONGEST]


def test_no_sentence_is_long() -> None:
    texts = [*in_code(*ROOMS), *in_books(), *in_templates()]
    assert len({file for file, _ in texts}) > 100
    assert {part: file for file, text in texts for part in long_sentences(text)} == {}


def test_a_long_sentence_would_be_found() -> None:
    words = "one " * (LONGEST - 1)
    tree = ast.parse(f'"""{"paper " * 30}"""\nx = "{words}two. {words}two."\ny = f"{words}{{x}} z"')
    assert [len(long_sentences(text)) for text in said(tree)] == [0, 1]
    assert list(in_book({"a": {"source": "s", "say": ["t"]}})) == ["t"]
    assert long_sentences(in_template(f"<p>{words}</p><p>{{{{ x }}}} two</p>")) == []
    assert long_sentences(in_template(f"<p>{words} {{{{ x }}}} two</p>")) != []
