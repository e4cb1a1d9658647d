"""The morning, the list of clients, and a new client."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from starlette.responses import Response

from miner import steps
from miner.core.files import make_folder
from miner.core.messages import Message, MinerError, message
from miner.core.results.morning import ClientState
from miner.page.places import NEXT, OF_RANKING, address, clients_of, new_code, why_not
from miner.page.render import page
from miner.page.request import PageRequest
from miner.page.uploads import waiting as waiting_files
from miner.steps import followup_state
from miner.steps.settings import change_client
from miner.words.pages import MORNING_GROUPS


class NextOfClient(NamedTuple):
    """The state of a client, and the next step.

    Attributes:
        state: the state, by name.
        said: the state in words.
        button: the words on the button.
        page: on which of the client's pages it is done.
        ranks: the records are ranked first.
    """

    state: str
    said: Message
    button: Message
    page: str
    ranks: bool


def morning(request: PageRequest) -> Response:
    """Show whom to look at first this morning."""
    state, today = request.state, request.day("on") or date.today()
    names = clients_of(state.practice)
    known = [name for name in names if state.clients.ready(state.practice / name, today)]
    if len(known) < len(names):
        state.read_in_background(today)
    found = steps.practice_morning(
        state.practice,
        today,
        names=known,
        look=lambda folder: state.clients.entry(folder).morning(today),
    )
    groups = [
        (title, text, [(folder_of(item.client, request), item) for item in getattr(found, name)])
        for name, title, text in MORNING_GROUPS
    ]
    return page(
        request,
        "morning.html",
        on=today.isoformat(),
        groups=groups,
        note=found.note,
        resting=[(folder_of(code, request), code, newest) for code, newest in found.not_active],
        waiting=[(name, request.read_or_fault(name)[1]) for name, _ in found.unreadable],
        states={name: state_of(request, name, today) for name in known},
        reading=len(names) - len(known),
        total=len(names),
    )


def state_of(request: PageRequest, name: str, on: date) -> NextOfClient | None:
    """Return the state of a client and the next step; None where the ledger cannot be read."""
    folder, held = request.state.practice / name, request.state.clients
    ranked = False
    try:
        try:
            entry = held.entry(folder)
        except MinerError:
            found = steps.without_records(folder)
        else:
            ranked = held.last_ranking(entry) is not None
            found = steps.client_state(entry.client, entry.report(), entry.rules, on)
    except MinerError:
        return None
    return next_of(found, on, ranked=ranked)


def next_of(found: ClientState, on: date, *, ranked: bool) -> NextOfClient:
    """Return a state with its next step, which ranks first where a ranking is shown.

    Args:
        found: the state.
        on: the day on which it is looked at.
        ranked: a ranking is there already.
    """
    place = NEXT.get(found.state, "pages")
    ranks = place in OF_RANKING and not ranked
    button, at = found.next(on.isoformat()), place.format(of=found.of)
    return NextOfClient(found.state, found.said, button, at, ranks)


def folder_of(code: str, request: PageRequest) -> str:
    """Return the folder of a client by the code it calls itself."""
    names = clients_of(request.state.practice)
    if code in names:
        return code
    for name in names:
        held = request.state.clients.known(name)
        if held is not None and held.client.settings.code == code:
            return name
    last = code.rpartition(" in ")[2]  # one of several clients of one code
    return last if last in names else code


def clients(request: PageRequest) -> Response:
    """Show all clients: the state of their records, what is waiting, what to read today."""
    today = date.today()
    rows = [_row(request, name, today) for name in clients_of(request.state.practice)]
    return page(request, "clients.html", rows=rows)


def _row(request: PageRequest, name: str, today: date) -> dict[str, object]:
    folder, held = request.state.practice / name, request.state.clients
    row: dict[str, object] = {
        "name": name,
        "code": name,
        "reading": not held.ready(folder),
        "fault": "",
        "open": 0,
        "due": [],
        "state": None,
        "files": len(waiting_files(folder)),
    }
    if not row["reading"]:
        try:
            entry = held.entry(folder)
            row |= {"code": entry.client.settings.code, "report": entry.report()}
        except MinerError as error:
            row["fault"] = why_not(folder, error.found)
        row["state"] = state_of(request, name, today)
    try:
        story = followup_state(folder)
    except MinerError:
        return row
    now_open = [item for item in story.kept if item.closed_at is None]
    plans = [plan for item in now_open if (plan := item.plan_open()) is not None]
    dates = [item.what.read_on for item in now_open if item.as_ == "watch"]
    dates += [plan.what.read_on for plan in plans]
    row["due"] = sorted(day for day in dates if day and day <= today.isoformat())
    return row | {"open": len(now_open)}


def new_client(request: PageRequest) -> Response:
    """Make the folder of a new client."""
    code = new_code(request.state.practice, request.text("code"))
    folder = request.state.practice / code
    values = {
        "code": code,
        "time_zone": request.text("time_zone")[:60] or None,
        "calm": True if request.text("calm") else None,
    }
    make_folder(folder, new=True)
    try:
        change_client(folder, values)
    except MinerError:
        folder.rmdir()
        raise
    return request.go(address("clients", code, "intake"), message("page.client_made", name=code))
