"""The morning, the list of clients, and a new client."""

from __future__ import annotations

from datetime import date

from starlette.responses import Response

from miner import ledger, steps
from miner.core.files import make_folder, write_whole
from miner.core.messages import MinerError, message
from miner.core.results.morning import ClientMorning
from miner.ledger import replay
from miner.page.places import clients_of, new_code, one_line
from miner.page.render import page
from miner.page.request import PageRequest, address
from miner.page.uploads import waiting as waiting_files
from miner.page.views.client import why_not
from miner.page.warming import in_background
from miner.records.read.settings import ClientFile
from miner.records.read.toml_file import read_toml
from miner.words.pages import MORNING_GROUPS


def morning(request: PageRequest) -> Response:
    """Show whom to look at first this morning."""
    state, today = request.state, request.day("on") or date.today()
    names = clients_of(state.practice)
    known = [name for name in names if state.clients.ready(state.practice / name, today)]
    if len(known) < len(names):
        in_background(state, today)
    found = steps.practice_morning(
        state.practice,
        today,
        names=known,
        look=lambda folder: state.clients.entry(folder).morning(today),
    )
    groups = [
        (title, text, [_told(item, request) for item in getattr(found, name)])
        for name, title, text in MORNING_GROUPS
    ]
    return page(
        request,
        "morning.html",
        on=today.isoformat(),
        groups=groups,
        note=found.note,
        resting=[(folder_of(code, request), code, newest) for code, newest in found.not_active],
        waiting=[(name, _fault(request, name)) for name, _ in found.unreadable],
        reading=len(names) - len(known),
        total=len(names),
    )


def _fault(request: PageRequest, name: str) -> str:
    """Return why a client cannot be read."""
    folder = request.state.practice / name
    try:
        request.state.clients.entry(folder)
    except MinerError as error:
        return why_not(folder, one_line(error))
    return ""


def _told(item: ClientMorning, request: PageRequest) -> dict[str, object]:
    said = [*item.nudge, *([item.stale] if item.stale else [])]
    return {
        "folder": folder_of(item.client, request),
        "client": item.client,
        "day": item.day,
        "said": [str(one) for one in said],
        "urgent": [str(one) for one in item.look_first],
        "message": str(item.message),
        "on_test": [str(one.sentence) for one in item.on_test],
    }


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
    today = date.today().isoformat()
    rows = [_row(request, name, today) for name in clients_of(request.state.practice)]
    return page(request, "clients.html", rows=rows)


def _row(request: PageRequest, name: str, today: str) -> dict[str, object]:
    folder = request.state.practice / name
    row: dict[str, object] = {
        "name": name,
        "code": name,
        "usable": None,
        "last": None,
        "fault": "",
        "reading": False,
    }
    if not request.state.clients.ready(folder):
        row["reading"] = True
    else:
        try:
            entry = request.state.clients.entry(folder)
            report = entry.report()
            row |= {
                "code": entry.client.settings.code,
                "usable": report.usable_days,
                "days": report.days,
                "last": report.last_day,
            }
        except MinerError as error:
            row["fault"] = why_not(folder, error.found)
    row["open"], row["due"] = _waiting(request, name, today)
    row["files"] = len(waiting_files(folder))
    return row


def _waiting(request: PageRequest, name: str, today: str) -> tuple[int, list[str]]:
    try:
        story = replay(ledger.read(request.state.practice / name))
    except MinerError:
        return 0, []
    now_open = [item for item in story.kept if item.closed_at is None]
    dates = [item.what.read_on for item in now_open if item.as_ == "watch"]
    for item in now_open:
        plan = item.plan_open()
        if plan is not None:
            dates.append(plan.what.read_on)
    return len(now_open), sorted(day for day in dates if day and day <= today)


def new_client(request: PageRequest) -> Response:
    """Make the folder of a new client."""
    practice = request.state.practice
    code = new_code(practice, request.text("code"))
    zone, lines = request.text("time_zone"), [f'code = "{code}"']
    if zone:
        lines.append(f"time_zone = {_quoted(zone)}")
    lines += ["calm = true"] if request.text("calm") else []
    lines += ["", "[intake]", ""]
    folder = practice / code
    make_folder(folder, new=True)
    try:
        write_whole(folder / "client.toml", "\n".join(lines).encode())
        read_toml(folder / "client.toml", ClientFile)
    except MinerError:
        (folder / "client.toml").unlink(missing_ok=True)
        folder.rmdir()
        raise
    to = address("clients", code, "intake")
    return request.go(to, message("page.client_made", name=code))


def _quoted(text: str) -> str:
    kept = "".join(mark for mark in text[:60] if mark.isprintable())
    return '"' + kept.replace("\\", "\\\\").replace('"', '\\"') + '"'
