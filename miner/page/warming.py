"""Reads clients in the background, so that no page has to wait for fifty of them."""

from __future__ import annotations

import gc
import threading
from contextlib import suppress
from datetime import date

from miner import steps
from miner.core.messages import MinerError
from miner.page.places import client_folder, clients_of
from miner.page.render import DRAWING
from miner.page.state import AppState

FEWEST_DRAWS = 100


def warm(state: AppState) -> None:
    """Read all clients, first what this morning needs; load what ranks and draws, once."""
    read_morning(state, date.today())
    for name in clients_of(state.practice):
        state.turns.wait()
        with suppress(MinerError, OSError):
            state.clients.entry(client_folder(state.practice, name)).report()
    for step in steps.__all__:  # loaded here, so that no page waits for one
        getattr(steps, step)
    # What stays in memory is looked through for garbage no more: with fifty clients each time
    # would stop every page for a second.
    gc.freeze()
    for name in clients_of(state.practice):
        with suppress(MinerError, OSError):
            _try_out(state, name)
            return


def in_background(state: AppState, on: date) -> None:
    """Begin to read what another morning needs, unless that goes on already."""
    if on not in state.mornings:
        state.mornings.add(on)
        threading.Thread(target=read_morning, args=(state, on), daemon=True).start()


def read_morning(state: AppState, on: date) -> None:
    """Look at every client's newest whole day of a morning, one after the other."""
    state.mornings.add(on)
    for name in clients_of(state.practice):
        state.turns.wait()
        with suppress(MinerError, OSError):
            state.clients.entry(client_folder(state.practice, name)).morning(on)
    state.mornings.discard(on)


def _try_out(state: AppState, name: str) -> None:
    """Rank and draw for nobody: the libraries are loaded then; nothing is written."""
    from miner.render.figures.day_picture import day_picture
    from miner.render.figures.paper import as_svg

    entry = state.clients.entry(client_folder(state.practice, name))
    with DRAWING:
        as_svg(day_picture(entry.review(None), entry.unit))
    steps.rank(entry.client, entry.rules, draws=FEWEST_DRAWS)
