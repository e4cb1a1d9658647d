"""The morning, the list of clients, and a new client."""

from __future__ import annotations

from datetime import date

from starlette.responses import Response

from miner import ledger, steps
from miner.core.errors import MinerError
from miner.core.files import make_folder, write_whole
from miner.core.results.morning import ClientMorning
from miner.ledger import replay
from miner.page.asked import Asked, address
from miner.page.places import clients_of, new_code
from miner.page.render import page
from miner.page.uploads import waiting as waiting_files
from miner.page.views.client import why_not
from miner.page.warming import in_background
from miner.records.settings import ClientFile
from miner.records.toml_file import read_toml

GROUPS = (
    ("look_first", "Look first", "The intake or the newest day calls for a look before anything."),
    ("nudge", "Send a word", "Logging or the tracker has gone quiet."),
    ("stale", "No new readings", "The newest reading is not of yesterday or today."),
    ("on_test", "On test", "Something is kept or tested."),
    ("ordinary", "Ordinary", "Nothing stands out."),
)


def morning(asked: Asked) -> Response:
    """Show whom to look at first this morning."""
    desk, today = asked.desk, asked.day("on") or date.today()
    names = clients_of(desk.practice)
    known = [name for name in names if desk.shelf.ready(desk.practice / name, today)]
    if len(known) < len(names):
        in_background(desk, today)
    found = steps.practice_morning(
        desk.practice, today, names=known,
        look=lambda folder: desk.shelf.entry(folder).morning(today),
    )  # fmt: skip
    groups = [
        (title, text, [_told(item, asked) for item in getattr(found, name)])
        for name, title, text in GROUPS
    ]
    return page(
        asked, "morning.html", on=today.isoformat(), groups=groups, note=found.note,
        resting=[(folder_of(code, asked), code, newest) for code, newest in found.not_active],
        waiting=[
            (name, why_not(desk.practice / name, why))
            for name, why in found.unreadable
        ],
        reading=len(names) - len(known), total=len(names),
    )  # fmt: skip


def _told(item: ClientMorning, asked: Asked) -> dict[str, object]:
    said = [*item.nudge, *([item.stale] if item.stale else [])]
    return {
        "folder": folder_of(item.client, asked), "client": item.client, "day": item.day,
        "said": said, "urgent": item.look_first, "message": item.message,
        "on_test": [one.sentence for one in item.on_test],
    }  # fmt: skip


def folder_of(code: str, asked: Asked) -> str:
    """Return the folder of a client by the code it calls itself."""
    names = clients_of(asked.desk.practice)
    if code in names:
        return code
    for name in names:
        held = asked.desk.shelf.known(name)
        if held is not None and held.client.settings.code == code:
            return name
    last = code.rpartition(" in ")[2]  # one of several clients of one code
    return last if last in names else code


def clients(asked: Asked) -> Response:
    """Show all clients: the state of their records, what is waiting, what to read today."""
    today = date.today().isoformat()
    rows = [_row(asked, name, today) for name in clients_of(asked.desk.practice)]
    return page(asked, "clients.html", rows=rows)


def _row(asked: Asked, name: str, today: str) -> dict[str, object]:
    folder = asked.desk.practice / name
    row: dict[str, object] = {
        "name": name, "code": name, "usable": None, "last": None, "fault": "", "reading": False
    }  # fmt: skip
    if not asked.desk.shelf.ready(folder):
        row["reading"] = True
    else:
        try:
            entry = asked.desk.shelf.entry(folder)
            report = entry.report()
            row |= {
                "code": entry.client.settings.code, "usable": report.usable_days,
                "days": report.days, "last": report.last_day,
            }  # fmt: skip
        except MinerError as error:
            row["fault"] = why_not(folder, error.found)
    row["open"], row["due"] = _waiting(asked, name, today)
    row["files"] = len(waiting_files(folder))
    return row


def _waiting(asked: Asked, name: str, today: str) -> tuple[int, list[str]]:
    try:
        story = replay(ledger.read(asked.desk.practice / name))
    except MinerError:
        return 0, []
    now_open = [item for item in story.kept if item.closed_at is None]
    dates = [str(item.what.get("read_on") or "") for item in now_open if item.as_ == "watch"]
    for item in now_open:
        plan = item.plan_open()
        if plan is not None:
            dates.append(str(plan.entry.payload.get("read_on") or ""))
    return len(now_open), sorted(day for day in dates if day and day <= today)


def new_client(asked: Asked) -> Response:
    """Make the folder of a new client."""
    practice = asked.desk.practice
    code = new_code(practice, asked.text("code"))
    zone, lines = asked.text("time_zone"), [f'code = "{code}"']
    if zone:
        lines.append(f"time_zone = {_quoted(zone)}")
    lines += ["calm = true"] if asked.text("calm") else []
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
    return asked.go(to, f"{code} is there. Next: the intake, then the questions, then the records.")


def _quoted(text: str) -> str:
    kept = "".join(mark for mark in text[:60] if mark.isprintable())
    return '"' + kept.replace("\\", "\\\\").replace('"', '\\"') + '"'
