"""What may still hold something of a client whose folder is gone or who withdrew."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from miner.caseload.places import is_remote
from miner.caseload.store import read_pages
from miner.core.messages import Message, message
from miner.core.results.caseload import ClientRow

MAY_NAME_A_CLIENT = {".html", ".csv", ".json", ".txt", ".md", ".toml"}


def traces(
    practice: str, home: Path, left: list[ClientRow], withdrew: list[str], present: set[str]
) -> list[Message]:
    """Return what may still hold something of clients who are gone or withdrew, in sentences.

    Args:
        practice: its folder or address.
        home: the work folder, what was kept of them already removed.
        left: rows of the folders that are gone.
        withdrew: names of clients who no longer agree.
        present: codes of the clients who are there.
    """
    several = Counter(row.client for row in left) + Counter(present)
    told_as = [
        f"{row.client} in {row.folder}" if several[row.client] > 1 else row.client for row in left
    ]
    gone = sorted({row.client for row in left} - present)
    said = [message("steps.folder_gone", client=client, home=home.name) for client in told_as]
    said += [message("steps.withdrew", client=client) for client in withdrew]
    here = _files_that_name(practice, gone)
    said += [message("steps.still_named", clients=[client], place=name) for client, name in here]
    for page, clients in sorted(read_pages(home).items()):
        told = [client for client in gone if client in clients]
        if told and Path(page).is_file() and Path(page).parent != Path(practice).resolve():
            said.append(message("steps.still_named", clients=told, place=page))
    if said:
        said.append(message("steps.copies_elsewhere"))
    return said


def _files_that_name(practice: str, clients: list[str]) -> list[tuple[str, str]]:
    if is_remote(practice) or not clients:
        return []
    found = []
    for path in sorted(Path(practice).iterdir()):
        if path.is_file() and path.suffix.lower() in MAY_NAME_A_CLIENT:
            text = path.read_text(encoding="utf-8", errors="replace")
            found += [(client, path.name) for client in clients if client in text]
    return found
