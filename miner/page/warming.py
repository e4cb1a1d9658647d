"""Reads every client once in the background, so that the first pages need not wait."""

from __future__ import annotations

from contextlib import suppress
from datetime import date

from miner.errors import MinerError
from miner.page.asked import Desk
from miner.page.places import client_folder, clients_of
from miner.page.render import DRAWING


def warm(desk: Desk) -> None:
    """Read all clients of the practice, first what the morning needs; draw once."""
    names = clients_of(desk.practice)
    for name in names:
        with suppress(MinerError, OSError):
            desk.shelf.entry(client_folder(desk.practice, name)).morning(date.today())
    for name in names:
        with suppress(MinerError, OSError):
            desk.shelf.entry(client_folder(desk.practice, name)).report()
    from miner.brief.figures.paper import as_svg, drawing, sheet

    with DRAWING, drawing():
        as_svg(sheet(10, 10))
