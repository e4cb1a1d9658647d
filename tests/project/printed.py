"""Every text that the program may print, with the file it is written in."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BLOCKS = "p|li|h1|h2|h3|h4|td|th|summary|label|option|legend|button|dt|dd|small|br"


def said(tree: ast.Module) -> Iterator[str]:
    """Strings, and f-strings with a word for each value; docstrings are left aside."""
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


def in_code(*rooms: str) -> Iterator[tuple[str, str]]:
    """Yield file and text of each string of more than three words in the rooms."""
    for room in rooms:
        for path in sorted(ROOT.glob(f"miner/{room}/**/*.py")):
            for text in said(ast.parse(path.read_text(encoding="utf-8"))):
                if len(text.split()) > 3:
                    yield str(path.relative_to(ROOT)), text


def in_books() -> Iterator[tuple[str, str]]:
    """Yield file and text of the rule books and of the message texts."""
    for path in sorted([*ROOT.glob("rules/*.toml"), *ROOT.glob("miner/words/texts/*.toml")]):
        for text in in_book(tomllib.loads(path.read_text(encoding="utf-8"))):
            yield str(path.relative_to(ROOT)), re.sub(r"{[^{}]*}", "X", text)


def in_templates() -> Iterator[tuple[str, str]]:
    """Yield file and text of the templates of the page and of the documents."""
    for path in sorted(ROOT.glob("miner/**/templates/*.html")):
        yield str(path.relative_to(ROOT)), in_template(path.read_text(encoding="utf-8"))
