"""One day at a time, with a picker; the week; the table of all days."""

from __future__ import annotations

from dataclasses import replace

from starlette.responses import RedirectResponse, Response

from miner.core.messages import message
from miner.page.render import figure, headed, page
from miner.page.request import PageRequest
from miner.render.figures.day_picture import day_picture
from miner.steps import week as week_of
from miner.words.day import day_first, day_parts
from miner.words.days import days_parts
from miner.words.document import Strip
from miner.words.sentences import factor_phrase
from miner.words.week import week_first, week_parts


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
    label = str(message("page.picture_of_day", day=found.date))
    title, parts = headed(day_parts(found, entry.unit, detail=True, cautioned=False))
    picture, styles = request.state.day_figures.get(
        (request.code, found.date),
        found,
        lambda looks: figure(lambda: day_picture(found, entry.unit), "day", label, looks),
    )
    return page(
        request,
        "day.html",
        styles=styles,
        day=found.date,
        picture=picture,
        first=day_first(found),
        title=title,
        parts=parts,
        usable=found.usable,
        earlier=dates[place - 1] if place else None,
        later=dates[place + 1] if place + 1 < len(dates) else None,
        first_day=dates[0],
        last_day=dates[-1],
        left_out=any(item.day.isoformat() == found.date for item in entry.client.settings.left_out),
    )


def table(request: PageRequest) -> Response:
    """Show the table of all days, and the week."""
    entry, name = request.entry(), request.client_name
    dates = {day: request.at("days", day) for day in entry.dates()}
    request.shown(entry, "day", list(dates))
    parts = [
        replace(part, lead=factor_phrase(part.factor, entry.words))
        if isinstance(part, Strip) and part.factor
        else part
        for part in days_parts(name, entry.days(), entry.words, display_unit=entry.unit)
    ]
    return page(request, "table.html", parts=parts, days=dates)


def week(request: PageRequest) -> Response:
    """Show what was logged in a week, and how far each open question is."""
    entry, last = request.entry(), request.day("last")
    found = week_of(entry.client, entry.rules, last=last.isoformat() if last else None)
    dates = entry.dates()
    title, parts = headed(week_parts(found, cautioned=False, detail=True))
    return page(
        request,
        "week.html",
        first=week_first(found),
        heading=title,
        parts=parts,
        last=found.days[-1],
        first_day=dates[0],
        last_day=dates[-1],
    )
