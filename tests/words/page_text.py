"""What a reader of a page sees."""

from __future__ import annotations

import re
from html.parser import HTMLParser

SILENT = {"script", "style", "title", "svg", "meta", "link", "input", "br"}
VOID = {"meta", "link", "input", "br", "img", "hr"}
BLOCK = {"p", "li", "h1", "h2", "h3", "td", "th", "summary", "label", "legend", "option", "b"}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.blocks: list[str] = [""]
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if tag in BLOCK:
            self.blocks.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass
        if tag in BLOCK and tag != "b":
            self.blocks.append("")

    def handle_data(self, data: str) -> None:
        if "script" in self.open:
            self.scripts.append(data)
        if not SILENT & set(self.open):
            self.blocks[-1] += data


def read(page: str) -> _Reader:
    """Parse a page."""
    reader = _Reader()
    reader.feed(page)
    return reader


def seen(page: str) -> list[str]:
    """Return the visible text, a block of it at a time, white space collapsed."""
    return [" ".join(text.split()) for text in read(page).blocks if text.strip()]


def running(page: str) -> str:
    """Return all that is read of a page as sentences, whatever ends without a stop given one.

    Left out are the short codes of the choices alone: they are no words, and hidden until chosen.
    """
    words = re.sub(r'<span class="code[^"]*">[^<]*</span>', "", page)
    return " ".join(text if text[-1] in ".?!" else f"{text}." for text in seen(words))
