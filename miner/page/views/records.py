"""The records of a client: what is there, what was dropped, what the check found."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.responses import JSONResponse, Response

from miner.core.messages import MinerError, message
from miner.core.results import Finding, Severity
from miner.page import uploads
from miner.page.bodies import MEGABYTE, MOST_SENT
from miner.page.places import one_line
from miner.page.render import page
from miner.page.request import PageRequest
from miner.steps import Look, look_at
from miner.words.check import check_parts, detail_of_check
from miner.words.pages import FINDING_KINDS


def show(request: PageRequest) -> Response:
    """Show the files, those that wait, and the check."""
    folder = request.folder
    entry, fault = request.read_or_fault()
    parts = [] if entry is None else check_parts(entry.report(), entry.words, detail=True)
    detail = [] if entry is None else detail_of_check(entry.report(), entry.words)
    return page(
        request,
        "records.html",
        fault=fault,
        waiting=[_waits(folder, name) for name in uploads.waiting(folder)],
        files=_files(folder),
        limit=MOST_SENT // MEGABYTE,
        limit_bytes=MOST_SENT,
        parts=parts[len(request.before) : len(parts) - len(detail)],
        detail=detail,
    )


def _files(folder: Path) -> list[tuple[str, int]]:
    found = [path for path in sorted(folder.iterdir()) if path.name[0] != "."]
    return [(path.name, path.stat().st_size) for path in found if path.is_file()]


def _waits(folder: Path, name: str) -> dict[str, Any]:
    path = uploads.waiting_file(folder, name)
    there = uploads.twin(folder, path)
    try:
        look = look_at(path, folder)
    except MinerError as error:
        look = Look(name, "records", fault=error)
    return {
        "name": name,
        "size": path.stat().st_size,
        "kind": look.kind,
        "fault": one_line(look.fault) if look.fault else "",
        "understood": look.understood,
        "findings": [(FINDING_KINDS[item.severity], _finding(item)) for item in look.findings],
        "stopped": any(item.severity is Severity.STOP for item in look.findings),
        "same": there[0] if there and there[1] else None,
        "taken": there[0] if there and not there[1] else None,
        "as_name": uploads.free_name(folder, name),
        "table": Path(name).suffix.lower() not in (".json", ".ndjson"),
    }


def drop(request: PageRequest) -> Response:
    """Take files that were dropped or chosen; they wait until they are added."""
    files = request.files("files")
    if not files:
        raise MinerError("page.no_file_chosen")
    got, notes = [], []
    for file in files:
        try:
            got.append(uploads.receive(request.folder, file.filename or "", file.file.read()))
        except MinerError as error:
            notes.append(message("page.file_not_taken", why=one_line(error)))
    said = [message("page.files_wait", n=len(got))] if got else []
    answer = request.go(request.at("records"), *said, *notes)
    if request.http.headers.get("x-by-script") == "1":
        return JSONResponse({"to": answer.headers["location"]})
    return answer


def add(request: PageRequest) -> Response:
    """Add one file that waits to the records."""
    name, as_name = request.text("file"), request.text("as_name") or request.text("file")
    uploads.add(request.folder, name, as_name)
    return request.go(request.at("records"), message("page.file_added", name=as_name))


def add_all(request: PageRequest) -> Response:
    """Add every file that waits, can be read, and is not there yet."""
    folder, added, left = request.folder, [], []
    for name in uploads.waiting(folder):
        told = _waits(folder, name)
        usable = told["kind"] in ("records", "ticks") and not told["fault"] and not told["stopped"]
        if usable and not told["same"]:
            uploads.add(folder, name, told["as_name"])
            added.append(told["as_name"])
        else:
            left.append(name)
    notes = [message("page.files_added", names=added)] if added else []
    notes += [message("page.files_left", names=left)] if left else []
    return request.go(request.at("records"), *notes)


def throw_away(request: PageRequest) -> Response:
    """Throw away one file that waits."""
    uploads.throw_away(request.folder, request.text("file"))
    return request.go(
        request.at("records"), message("page.file_thrown_away", name=request.text("file")[:120])
    )


def _finding(item: Finding) -> str:
    told = {"found": item.what, "expected": item.expected, "do": item.do}
    return one_line(MinerError("page.finding", file=item.file, row=item.row, **told))
