"""One day at a time, with a picker; the week; the table of all days."""

from __future__ import annotations

from dataclasses import replace

from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from miner.core.results.morning import DayReview
from miner.page.asked import Asked
from miner.page.render import DRAWING, page
from miner.page.shelf import Entry
from miner.page.views.client import name_of
from miner.render.figures.day_picture import day_picture
from miner.render.figures.inline import Styles, inline
from miner.render.figures.paper import as_svg
from miner.steps.week import week as week_of
from miner.words.day import day_parts
from miner.words.days import days_parts
from miner.words.document import Part, Strip
from miner.words.labels import factor_phrase
from miner.words.week import week_parts


def pick(asked: Asked) -> Response:
    """Lead to the day that was picked, or to the newest whole one."""
    day = asked.day("day")
    chosen = day.isoformat() if day is not None else asked.entry().review(None).date
    return RedirectResponse(asked.at("days", chosen), status_code=303)


def show(asked: Asked) -> Response:
    """Show one day, wake to wake."""
    entry, day = asked.entry(), asked.path("day")
    found, dates = entry.review(day), entry.dates()
    asked.shown(entry, "day", [found.date])
    place = dates.index(found.date) if found.date in dates else 0
    picture, looks = _picture(asked, found, entry.unit)
    styles = Styles(dict(looks))
    return page(
        asked, "day.html", styles=styles, client=name_of(entry, asked), day=found.date,
        picture=picture, parts=day_parts(found, entry.unit, detail=True), usable=found.usable,
        earlier=dates[place - 1] if place else None,
        later=dates[place + 1] if place + 1 < len(dates) else None,
        first_day=dates[0], last_day=dates[-1],
        left_out=any(item.day.isoformat() == found.date for item in entry.client.settings.left_out),
    )  # fmt: skip


def _picture(asked: Asked, found: DayReview, unit: str) -> tuple[Markup, dict[str, str]]:
    def draw() -> tuple[Markup, dict[str, str]]:
        styles = Styles()
        label = f"Glucose of {found.date}, with sleep, stress, activity, meals and tags below it."
        with DRAWING:
            svg = as_svg(day_picture(found, unit))
        picture = Markup(inline(svg, "day", label, {}, styles))  # noqa: S704 - our own figure
        return picture, dict(styles.names)

    return asked.desk.drawn((asked.code, found.date), found, draw)


def table(asked: Asked) -> Response:
    """Show the table of all days, and the week."""
    entry = asked.entry()
    dates = {day: asked.at("days", day) for day in entry.dates()}
    asked.shown(entry, "day", list(dates))
    parts = days_parts(name_of(entry, asked), entry.days(), entry.rules, display_unit=entry.unit)
    parts = [_in_words(part, entry) for part in parts]
    return page(asked, "table.html", client=name_of(entry, asked), parts=parts, days=dates)


def _in_words(part: Part, entry: Entry) -> Part:
    """Return the strip of a habit with the habit's words before it."""
    if not isinstance(part, Strip) or not part.factor:
        return part
    return replace(part, lead=factor_phrase(part.factor, entry.rules))


def week(asked: Asked) -> Response:
    """Show what was logged in a week, and how far each open question is."""
    entry, last = asked.entry(), asked.day("last")
    found = week_of(entry.client, entry.rules, last=last.isoformat() if last else None)
    dates = entry.dates()
    return page(
        asked, "week.html", client=name_of(entry, asked), parts=week_parts(found),
        last=found.days[-1], first_day=dates[0], last_day=dates[-1],
    )  # fmt: skip
