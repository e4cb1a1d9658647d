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

from miner.caseload.store import NAME as STORE
from miner.caseload.store import Store
from miner.core.errors import MinerError
from miner.page.asked import Asked, address, attached
from miner.page.places import GOING, Missing, clients_of, require_of_one
from miner.page.render import page
from miner.page.views.client import name_of, read_or_fault
from miner.steps.exporting import FORMS, export_files

CHUNK = 256 * 1024
HELD = 16 * 1024 * 1024
EVERYTHING = "everything"


def show(asked: Asked) -> Response:
    """Show what is in the folder, what can be taken away, and what deletion means."""
    folder = asked.folder
    entry, _ = read_or_fault(asked)
    return page(
        asked, "folder.html", client=name_of(entry, asked), files=_inside(folder),
        copies=_copies(asked), readable=entry is not None,
    )  # fmt: skip


def _inside(folder: Path) -> list[tuple[str, int]]:
    found = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return [(path.relative_to(folder).as_posix(), path.stat().st_size) for path in found]


def _copies(asked: Asked) -> list[str]:
    """Return what of a client stays or goes outside its folder."""
    practice, code = asked.desk.practice, asked.code
    said = []
    if (practice / STORE).is_dir():
        said.append(
            "What the caseload kept of this client goes too; figures pooled before it are "
            "computed again without it."
        )
    named = [
        path.name for path in sorted(practice.iterdir())
        if path.is_file() and path.suffix.lower() in (".html", ".csv", ".json", ".txt", ".toml")
        and path.stat().st_size < CHUNK * 40 and code.encode() in path.read_bytes()
    ]  # fmt: skip
    said += [f"{name} in the practice's folder names this client and stays." for name in named]
    return said


def download(asked: Asked) -> Response:
    """Give the whole folder as one archive, or the records in an open form."""
    form = asked.text("as", EVERYTHING)
    if form not in (EVERYTHING, *FORMS):
        raise Missing("there is no such download", "one of the list", "Choose one.")
    require_of_one(asked.folder)
    held: IO[bytes] = SpooledTemporaryFile(max_size=HELD)  # noqa: SIM115 - closed when it is sent
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        if form == EVERYTHING:
            _add_folder(archive, asked.folder, asked.code)
        else:
            for name, content in export_files(asked.entry().client, form):
                archive.writestr(f"{asked.code}-{form}/{name}", content)
    size = held.tell()
    held.seek(0)
    headers = attached(f"{asked.code}-{form}.zip") | {"Content-Length": str(size)}
    return StreamingResponse(_pieces(held), media_type="application/zip", headers=headers)


def _add_folder(archive: zipfile.ZipFile, folder: Path, name: str) -> None:
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.name.endswith(".lock"):
            archive.write(path, f"{name}/{path.relative_to(folder).as_posix()}")


def _pieces(held: IO[bytes]) -> Iterator[bytes]:
    with held:
        while piece := held.read(CHUNK):
            yield piece


def delete(asked: Asked) -> Response:
    """Delete a client's folder, once its code was written out."""
    folder, desk = asked.folder, asked.desk
    if asked.text("code") != asked.code:
        raise MinerError(
            "the code that was written is another one", f"the code '{asked.code}'",
            "Write it exactly to delete this client. Nothing was deleted.",
        )  # fmt: skip
    going = desk.practice / f"{GOING}{secrets.token_hex(8)}"
    folder.rename(going)
    desk.shelf.forget(asked.code)
    for key in [key for key in desk.found if key[0] == asked.code]:
        desk.found.pop(key, None)
    shutil.rmtree(going, ignore_errors=True)
    if (desk.practice / STORE).is_dir():
        Store(desk.practice / STORE).forget_all_but(clients_of(desk.practice))
    return asked.go(
        address("clients"), f"{asked.code} is deleted. Pages and exports saved elsewhere, "
        "printouts and backups are not known here: delete them too.",
    )  # fmt: skip
