"""No sentence that may be printed has more than 25 words, wherever it is written."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LONGEST = 25
BLOCKS = "p|li|h1|h2|h3|h4|td|th|summary|label|option|legend|button|dt|dd|small|br"


def long_sentences(text: str) -> list[str]:
    return [s for s in re.split(r"(?<=[.!?])\s+", text) if len(s.split()) > LONGEST]


def said(tree: ast.Module) -> Iterator[str]:
    """Strings, and f-strings with a word for each value; a string that stands alone is a paper."""
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            silent |= {id(inner) for inner in ast.walk(node) if inner is not node}
    for node in ast.walk(tree):
        if id(node) in silent:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        elif isinstance(node, ast.JoinedStr):
            parts = (str(v.value) if isinstance(v, ast.Constant) else "X" for v in node.values)
            yield "".join(parts)


def in_book(value: object, key: str = "") -> Iterator[str]:
    if isinstance(value, dict):
        for name, item in value.items():
            yield from in_book(item, name)
    elif isinstance(value, list):
        for item in value:
            yield from in_book(item, key)
    elif isinstance(value, str) and key != "source":
        yield value


def in_template(text: str) -> str:
    """Return what a template says, a word for each value, each block a sentence of its own."""
    text = re.sub(r"{%.*?%}|{#.*?#}", "", text, flags=re.DOTALL)
    text = re.sub(r"{{.*?}}", "X", text, flags=re.DOTALL)
    return re.sub(r"<[^>]*>", "", re.sub(rf"</?({BLOCKS})\b[^>]*>", ". ", text))


def test_no_sentence_in_the_code_is_long() -> None:
    found = {
        path.name: part
        for path in sorted(ROOT.glob("miner/**/*.py"))
        for text in said(ast.parse(path.read_text(encoding="utf-8")))
        for part in long_sentences(text)
    }
    assert found == {}


def test_no_sentence_in_the_rule_books_is_long() -> None:
    found = {
        path.name: part
        for path in sorted([*ROOT.glob("rules/*.toml"), *ROOT.glob("miner/words/*.toml")])
        for text in in_book(tomllib.loads(path.read_text(encoding="utf-8")))
        for part in long_sentences(text)
    }
    assert found == {}


def test_no_sentence_in_the_pages_is_long() -> None:
    paths = sorted(ROOT.glob("miner/**/templates/*.html"))
    assert len(paths) > 30
    texts = {path.name: in_template(path.read_text(encoding="utf-8")) for path in paths}
    assert {name: long for name, text in texts.items() if (long := long_sentences(text))} == {}


def test_a_long_sentence_would_be_found() -> None:
    words = "one " * (LONGEST - 1)
    tree = ast.parse(f'"""{"paper " * 30}"""\nx = "{words}two. {words}two."\ny = f"{words}{{x}} z"')
    assert [len(long_sentences(text)) for text in said(tree)] == [0, 1]
    assert list(in_book({"a": {"source": "s", "say": ["t"]}})) == ["t"]
    assert long_sentences(in_template(f"<p>{words}</p><p>{{{{ x }}}} two</p>")) == []
    assert long_sentences(in_template(f"<p>{words} {{{{ x }}}} two</p>")) != []
