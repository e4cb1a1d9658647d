"""What a reader of a page sees, and how hard it is to read."""

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


def sentences(blocks: list[str]) -> list[list[str]]:
    """Return the words of every sentence."""
    found = [part for text in blocks for part in re.split(r"(?<=[.?!])\s+", text)]
    return [words for part in found if (words := re.findall(r"[A-Za-z0-9'-]+", part))]


def syllables(word: str) -> int:
    """Count groups of vowels; a silent e at the end is none. Numbers are one."""
    word = word.lower().strip("'-")
    if not word or word[0].isdigit():
        return 1
    count = len(re.findall(r"[aeiouy]+", word))
    if word.endswith("e") and not word.endswith(("le", "ee")) and count > 1:
        count -= 1
    return max(count, 1)


def grade(lines: list[list[str]]) -> float:
    """Flesch-Kincaid grade. Source: Kincaid et al. 1975, Navy Research Branch Report 8-75."""
    words = [word for line in lines for word in line]
    return 0.39 * len(words) / len(lines) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59
