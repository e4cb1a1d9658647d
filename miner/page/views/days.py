"""One day at a time, with a picker; the week; the table of all days."""

from __future__ import annotations

from dataclasses import replace

from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from miner.core.messages import message
from miner.core.results.morning import DayReview
from miner.page.client_cache import ClientEntry
from miner.page.render import DRAWING, page
from miner.page.request import PageRequest
from miner.page.views.client import name_of
from miner.render.figures.day_picture import day_picture
from miner.render.figures.inline import Styles, inline
from miner.render.figures.paper import as_svg
from miner.steps.week import week as week_of
from miner.words.day import day_parts
from miner.words.days import days_parts
from miner.words.document import Part, Strip
from miner.words.sentences import factor_phrase
from miner.words.week import week_parts


def pick(request: PageRequest) -> Response:
    """Lead to the day that was picked, or to the newest whole one."""
    day = request.day("day")
    chosen = day.isoformat() if day is not None else request.entry().review(None).date
    return RedirectResponse(request.at("days", chosen), status_code=303)


def show(request: PageRequest) -> Response:
    """Show one day, wake to wake."""
    entry, day = request.entry(), request.path("day")
    found, dates = entry.review(day), entry.dates()
    request.shown(entry, "day", [found.date])
    place = dates.index(found.date) if found.date in dates else 0
    picture, looks = _picture(request, found, entry.unit)
    styles = Styles(dict(looks))
    return page(
        request,
        "day.html",
        styles=styles,
        client=name_of(entry, request),
        day=found.date,
        picture=picture,
        parts=day_parts(found, entry.unit, detail=True),
        usable=found.usable,
        earlier=dates[place - 1] if place else None,
        later=dates[place + 1] if place + 1 < len(dates) else None,
        first_day=dates[0],
        last_day=dates[-1],
        left_out=any(item.day.isoformat() == found.date for item in entry.client.settings.left_out),
    )


def _picture(request: PageRequest, found: DayReview, unit: str) -> tuple[Markup, dict[str, str]]:
    def draw() -> tuple[Markup, dict[str, str]]:
        styles = Styles()
        label = str(message("page.picture_of_day", day=found.date))
        with DRAWING:
            svg = as_svg(day_picture(found, unit))
        picture = Markup(inline(svg, "day", label, {}, styles))  # noqa: S704 - our own figure
        return picture, dict(styles.names)

    return request.state.day_figures.get((request.code, found.date), found, draw)


def table(request: PageRequest) -> Response:
    """Show the table of all days, and the week."""
    entry = request.entry()
    dates = {day: request.at("days", day) for day in entry.dates()}
    request.shown(entry, "day", list(dates))
    parts = days_parts(name_of(entry, request), entry.days(), entry.words, display_unit=entry.unit)
    parts = [_in_words(part, entry) for part in parts]
    return page(request, "table.html", client=name_of(entry, request), parts=parts, days=dates)


def _in_words(part: Part, entry: ClientEntry) -> Part:
    """Return the strip of a habit with the habit's words before it."""
    if not isinstance(part, Strip) or not part.factor:
        return part
    return replace(part, lead=factor_phrase(part.factor, entry.words))


def week(request: PageRequest) -> Response:
    """Show what was logged in a week, and how far each open question is."""
    entry, last = request.entry(), request.day("last")
    found = week_of(entry.client, entry.rules, last=last.isoformat() if last else None)
    dates = entry.dates()
    return page(
        request,
        "week.html",
        client=name_of(entry, request),
        parts=week_parts(found),
        last=found.days[-1],
        first_day=dates[0],
        last_day=dates[-1],
    )
