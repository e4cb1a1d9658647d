"""Reads clients in the background, so that no page has to wait for fifty of them."""

from __future__ import annotations

import gc
import threading
from contextlib import suppress
from datetime import date

from miner import steps
from miner.core.errors import MinerError
from miner.page.asked import Desk
from miner.page.places import client_folder, clients_of
from miner.page.render import DRAWING

FEWEST_DRAWS = 100


def warm(desk: Desk) -> None:
    """Read all clients, first what this morning needs; load what ranks and draws, once."""
    read_morning(desk, date.today())
    for name in clients_of(desk.practice):
        desk.turns.wait()
        with suppress(MinerError, OSError):
            desk.shelf.entry(client_folder(desk.practice, name)).report()
    for step in steps.__all__:  # loaded here, so that no page waits for one
        getattr(steps, step)
    # What stays in memory is looked through for garbage no more: with fifty clients each time
    # would stop every page for a second.
    gc.freeze()
    for name in clients_of(desk.practice):
        with suppress(MinerError, OSError):
            _try_out(desk, name)
            return


def in_background(desk: Desk, on: date) -> None:
    """Begin to read what another morning needs, unless that goes on already."""
    if on not in desk.mornings:
        desk.mornings.add(on)
        threading.Thread(target=read_morning, args=(desk, on), daemon=True).start()


def read_morning(desk: Desk, on: date) -> None:
    """Look at every client's newest whole day of a morning, one after the other."""
    desk.mornings.add(on)
    for name in clients_of(desk.practice):
        desk.turns.wait()
        with suppress(MinerError, OSError):
            desk.shelf.entry(client_folder(desk.practice, name)).morning(on)
    desk.mornings.discard(on)


def _try_out(desk: Desk, name: str) -> None:
    """Rank and draw for nobody: the libraries are loaded then; nothing is written."""
    from miner.render.figures.day_picture import day_picture
    from miner.render.figures.paper import as_svg

    entry = desk.shelf.entry(client_folder(desk.practice, name))
    with DRAWING:
        as_svg(day_picture(entry.review(None), entry.unit))
    steps.rank(entry.client, entry.rules, draws=FEWEST_DRAWS)
