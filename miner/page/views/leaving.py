"""The client's whole folder to take away, and its deletion."""

from __future__ import annotations

import secrets
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import IO

from starlette.responses import Response, StreamingResponse

from miner.core.messages import MinerError, message
from miner.page.places import GOING, Missing, address, clients_of, require_of_one
from miner.page.render import page
from miner.page.request import PageRequest, attached
from miner.steps import export_files, keep_only, keeps_results
from miner.steps.exporting import FORMS

CHUNK = 256 * 1024
HELD = 16 * 1024 * 1024
EVERYTHING = "everything"


def show(request: PageRequest) -> Response:
    """Show what is in the folder, what can be taken away, and what deletion means."""
    folder = request.folder
    entry, _ = request.read_or_fault()
    return page(
        request,
        "folder.html",
        files=_inside(folder),
        copies=_copies(request),
        readable=entry is not None,
    )


def _inside(folder: Path) -> list[tuple[str, int]]:
    found = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return [(path.relative_to(folder).as_posix(), path.stat().st_size) for path in found]


def _copies(request: PageRequest) -> list[str]:
    """Return what of a client stays or goes outside its folder."""
    practice, code = request.state.practice, request.code
    said = [str(message("page.caseload_forgets"))] if keeps_results(practice) else []
    named = [
        path.name
        for path in sorted(practice.iterdir())
        if path.is_file()
        and path.suffix.lower() in (".html", ".csv", ".json", ".txt", ".toml")
        and path.stat().st_size < CHUNK * 40
        and code.encode() in path.read_bytes()
    ]
    said += [str(message("page.named_elsewhere", name=name)) for name in named]
    return said


def download(request: PageRequest) -> Response:
    """Give the whole folder as one archive, or the records in an open form."""
    form = request.text("as", EVERYTHING)
    if form not in (EVERYTHING, *FORMS):
        raise Missing("page.no_such_download")
    require_of_one(request.folder)
    held: IO[bytes] = SpooledTemporaryFile(max_size=HELD)  # noqa: SIM115 - closed when it is sent
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        if form == EVERYTHING:
            _add_folder(archive, request.folder, request.code)
        else:
            for name, content in export_files(request.entry().client, form):
                archive.writestr(f"{request.code}-{form}/{name}", content)
    size = held.tell()
    held.seek(0)
    headers = attached(f"{request.code}-{form}.zip") | {"Content-Length": str(size)}
    return StreamingResponse(_pieces(held), media_type="application/zip", headers=headers)


def _add_folder(archive: zipfile.ZipFile, folder: Path, name: str) -> None:
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.name.endswith(".lock"):
            archive.write(path, f"{name}/{path.relative_to(folder).as_posix()}")


def _pieces(held: IO[bytes]) -> Iterator[bytes]:
    with held:
        while piece := held.read(CHUNK):
            yield piece


def delete(request: PageRequest) -> Response:
    """Delete a client's folder, once its code was written out."""
    folder, state = request.folder, request.state
    if request.text("code") != request.code:
        raise MinerError("page.other_code_written", name=request.code)
    going = state.practice / f"{GOING}{secrets.token_hex(8)}"
    folder.rename(going)
    state.clients.forget(request.code)
    state.results.pop(request.code, None)
    shutil.rmtree(going, ignore_errors=True)
    keep_only(state.practice, clients_of(state.practice))
    return request.go(address("clients"), message("page.client_deleted", name=request.code))
