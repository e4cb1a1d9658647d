"""Puts a page together: template, looks of its own figures, and the policy that fits them."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, partial
from importlib import resources
from typing import TYPE_CHECKING, Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, PrefixLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.responses import HTMLResponse

from miner.page.guard import POLICY, own_policy, sha
from miner.page.places import address
from miner.render.figures.inline import Styles, inline
from miner.render.figures.paper import DARK, PALETTE, as_svg
from miner.render.terminal import fitted
from miner.words.document import Command, Heading, Paragraph, Part, Strip, Table
from miner.words.safe import clean
from miner.words.wording import day_and_month, span_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from miner.page.client_cache import CachedRanking
    from miner.page.request import PageRequest
    from miner.render.pages import BriefPage
    from miner.rulebook import RuleBook

STRIP_LEAD = 34
"""Columns of what stands before a strip of days."""


@dataclass(frozen=True, slots=True)
class PageBlock:
    """One piece of a page.

    Attributes:
        kind: "heading", "text", "urgent", "strip" or "table".
        text: its words, where it is not a table.
        depth: how far it is set in, 0 to 2.
        columns: title and side of each column.
        rows: the cells.
    """

    kind: str
    text: str = ""
    depth: int = 0
    columns: tuple[tuple[str, str], ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def blocks(parts: Iterable[Part]) -> list[PageBlock]:
    """Return a document as pieces of a page; empty lines fall away."""
    made = [_block(part) for part in fitted(parts)]
    return [item for item in made if item.text or item.columns]


def headed(parts: Iterable[Part]) -> tuple[str, list[Part]]:
    """Return the first heading of a document, which is the title of its page, and the rest."""
    rest = list(parts)
    for place, part in enumerate(rest):
        if isinstance(part, Heading):
            return part.text, [*rest[:place], *rest[place + 1 :]]
    return "", rest


def _block(part: Heading | Paragraph | Command | Strip | Table) -> PageBlock:
    match part:
        case Heading():
            return PageBlock("heading", part.text)
        case Command():
            return PageBlock("strip", f"{' ' * part.indent}{part.text}")
        case Strip():
            return PageBlock("strip", f"  {part.lead[:STRIP_LEAD]:{STRIP_LEAD}} {part.marks}")
        case Table():
            return _table(part)
    depth = min(part.indent // 2, 2)
    if part.own:
        return PageBlock("text", part.text, depth)
    if part.urgent:
        return PageBlock("urgent", part.text)
    return PageBlock("text", f"{part.lead}\u2003{part.text}" if part.lead else part.text, depth)


def _table(part: Table) -> PageBlock:
    if not part.titled:
        cells = [_flat(row[at]) for at in range(len(part.columns)) for row in part.rows]
        return PageBlock("text", "  ".join(cells), min(part.indent // 2, 2))
    columns = tuple(
        (_flat(title), "number" if side == "right" else "") for title, side in part.columns
    )
    rows = tuple(tuple(_flat(cell) for cell in row) for row in part.rows)
    return PageBlock("table", columns=columns, rows=rows)


def _flat(cell: str) -> str:
    return " ".join(cell.split())


DRAWING = threading.Lock()
"""The drawing library keeps its settings in one place: one figure at a time."""

_ID = re.compile(r"\b[0-9a-f]{8}\b")
_IN_THE_DARK = " and ".join(("@media screen", "(prefers-color-scheme:dark)"))
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


@cache
def environment() -> Environment:
    """Return the templates, with everything escaped."""
    loaders = ChoiceLoader(
        [
            PackageLoader("miner.page", "templates"),
            PrefixLoader({"brief": PackageLoader("miner.render", "templates")}),
        ]
    )
    made = Environment(
        loader=loaders,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {"clean": _clean, "capital": capital, "blocks": blocks, "linked": linked}
    made.filters |= {"at": _at, "short_day": partial(day_and_month, short=True)}
    made.filters |= {"date": _date, "span": span_words}
    return made


def page(
    request: PageRequest,
    template: str,
    *,
    status: int = 200,
    styles: Styles | None = None,
    **words: Any,
) -> HTMLResponse:
    """Return a whole page.

    Args:
        request: what was asked for.
        template: a file of ``templates/``.
        status: of the answer.
        styles: the looks its figures use.
        words: what the template asks for; text is escaped.
    """
    looks = styles.css() if styles is not None else ""
    path = request.http.path_params
    code = words.pop("code", path.get("code"))
    first = request.before if code and "first" not in words else ()
    said = request.state.notes.pop(request.http.query_params.get("said", ""), ())
    text = (
        environment()
        .get_template(template)
        .render(
            practice=clean(request.state.practice.name, 60),
            form_key=request.state.keys.form,
            said=said,
            here=request.http.url.path,
            address=address,
            looks=Markup(looks),  # noqa: S704 - the looks of our own figures
            code=code,
            **({"client": request.client_name if "code" in path else code, "first": first} | words),
        )
    )
    allowed = f"'self' 'sha256-{sha(looks)}'" if looks else "'self'"
    policy = {"Content-Security-Policy": POLICY.format(styles=allowed)}
    return HTMLResponse(text, status_code=status, headers=policy)


def make_page(
    cached: CachedRanking, kind: str, rules: RuleBook, made: Callable[..., BriefPage]
) -> str:
    """Return one of the pages of the brief, and keep it; it takes longer than a page may.

    Args:
        cached: what is known of the client.
        kind: which page.
        rules: the rule books.
        made: makes it of the brief, the kind, the rule books and the IDs that are shown.
    """
    with DRAWING:
        cached.drawn[kind] = made(cached.brief, kind, rules, cached.include)
    cached.pages[kind] = cached.drawn[kind].text()
    return cached.pages[kind]


def own_page(text: str, headers: Mapping[str, str] | None = None) -> HTMLResponse:
    """Return a page of its own, such as one of the brief, with what it allows itself."""
    return HTMLResponse(
        text, headers={"Content-Security-Policy": own_policy(text), **(headers or {})}
    )


def figure(draw: Callable[[], Figure], name: str, label: str, styles: Styles) -> Markup:
    """Return a figure of our own as a page holds it; its looks are added to those there are."""
    with DRAWING:
        svg = as_svg(draw())
    return Markup(inline(svg, name, label, {}, styles))  # noqa: S704 - our own figure


def linked(text: str, ids: dict[str, str]) -> Markup:
    """Return text in which the names of patterns and days lead to their pages.

    Args:
        text: anything; it is escaped.
        ids: ID or day -> address.
    """

    def way(found: re.Match[str]) -> str:
        at = ids.get(found[0])
        return f'<a href="{escape(at)}">{found[0]}</a>' if at else found[0]

    told = str(escape(_date(text) if _DAY.fullmatch(text) else text))
    if text in ids:
        return Markup(f'<a href="{escape(ids[text])}">{told}</a>')  # noqa: S704 - escaped
    return Markup(_DAY.sub(way, _ID.sub(way, told)))  # noqa: S704 - escaped just above


@cache
def looks() -> str:
    """Return the style sheet: colours and looks of the brief, then what is the page's own."""
    light = "".join(f"--{name}:{value};" for name, value in PALETTE.items())
    dark = "".join(f"--{name}:{value};" for name, value in DARK.items())
    themes = f":root{{{light}color-scheme:light dark}}\n{_IN_THE_DARK}{{:root{{{dark}}}}}\n"
    brief = (resources.files("miner.render") / "templates" / "page.css").read_text("utf-8")
    return themes + brief + asset("page.css")


def asset(name: str) -> str:
    """Return one of the page's own files."""
    return (resources.files("miner.page") / "assets" / name).read_text("utf-8")


@cache
def marks() -> str:
    """Return the script of the brief that shows a day where its mark is pointed at."""
    return (resources.files("miner.render") / "templates" / "page.js").read_text("utf-8")


def _clean(text: object, limit: int) -> str:
    return clean(str(text), limit)


def capital(text: object, limit: int = 400) -> str:
    """Return text, harmless, with a capital at its beginning."""
    told = _clean(text, limit)
    return told[:1].upper() + told[1:]


def _date(iso: object) -> str:
    """Return an ISO date as ``15 Feb``, with its year where that is not this one; else as it is."""
    text = str(iso)
    if not _DAY.fullmatch(text[:10]):
        return _clean(text, 60)
    told = day_and_month(text, short=True)
    return told if text[:4] == str(date.today().year) else f"{told} {text[:4]}"


def _at(code: str, *parts: str) -> str:
    return address("clients", code, *parts)
