"""Help: the papers of ``docs/``, one at a time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup
from starlette.responses import Response

from miner.core import resources
from miner.page.places import Missing, address
from miner.page.render import page
from miner.page.request import PageRequest

FIRST = "index"
_TO_PAPER = re.compile(r"(?P<name>[\w-]+)\.md(?P<anchor>#.*)?")
_WRITTEN_HTML = ("html_block", "html_inline")


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper of the handbook.

    Attributes:
        title: its first heading.
        text: its HTML.
        sections: anchor and title of each section.
    """

    title: str
    text: Markup
    sections: tuple[tuple[str, str], ...]


def show(request: PageRequest) -> Response:
    """Show one paper of the handbook, by its name; without one, the first."""
    name = request.http.path_params.get("name", FIRST)
    if name not in names():
        raise Missing("page.no_such_page")
    return page(request, "help.html", paper=paper(name), opening=name == FIRST)


@cache
def names() -> tuple[str, ...]:
    """Return the names of the papers."""
    return tuple(sorted(path.stem for path in resources.folder("docs").glob("*.md")))


@cache
def paper(name: str) -> Paper:
    """Return one paper as a page shows it; HTML that is written in it is left out."""
    reader = MarkdownIt("commonmark").enable("table")
    for kind in _WRITTEN_HTML:
        reader.add_render_rule(kind, lambda *_: "")
    reader.add_render_rule("fence", _fence)
    tokens = reader.parse((resources.folder("docs") / f"{name}.md").read_text(encoding="utf-8"))
    headings = [
        (opening.tag, *_named(opening, inner))
        for opening, inner in pairwise(tokens)
        if opening.type == "heading_open"
    ]
    for token in tokens:
        for inner in token.children or ():
            _lead_here(inner)
    html = str(reader.renderer.render(tokens, reader.options, {}))
    return Paper(
        title=headings[0][2],
        text=Markup(html),  # noqa: S704 - our own paper, without any HTML that is written in it
        sections=tuple((at, title) for tag, at, title in headings if tag == "h2"),
    )


def anchor(title: str) -> str:
    """Return the anchor of a heading, which is the one that the site of ``make docs`` has too."""
    return re.sub(r"[-\s]+", "-", re.sub(r"[^\w\s-]", "", title).strip().lower())


def _named(opening: Token, inner: Token) -> tuple[str, str]:
    title = "".join(part.content for part in inner.children or ())
    opening.attrSet("id", anchor(title))
    return anchor(title), title


def _lead_here(token: Token) -> None:
    found = _TO_PAPER.fullmatch(str(token.attrGet("href") or ""))
    if found:
        to = address("help") if found["name"] == FIRST else address("help", found["name"])
        token.attrSet("href", to + (found["anchor"] or ""))


def _fence(_: object, tokens: list[Token], at: int, *__: object) -> str:
    return f'<pre tabindex="0"><code>{Markup.escape(tokens[at].content)}</code></pre>\n'
