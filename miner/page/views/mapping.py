"""A file of unknown columns: somebody chooses what they are, and sees how it would be read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from starlette.responses import Response

from miner.api.looking import Look, look_at, source_of
from miner.api.mapping import map_file
from miner.errors import MinerError
from miner.page.asked import Asked
from miner.page.entry_form import DATES, FIELDS, NAMES, entry_of, fields_of, missing
from miner.page.render import page
from miner.page.uploads import waiting_file
from miner.page.views.client import name_of, read_or_fault
from miner.page.words import for_page
from miner.records.client import STREAMS
from miner.records.proposing import add_entry
from miner.records.proposing.entry import as_toml
from miner.records.settings_file import WRITING
from miner.results import Proposal

HOLDS = {
    "glucose": "the sensor's readings", "sleep": "nights", "stress": "stress",
    "activity": "walks and other movement", "meals": "meals", "tags": "tags and notes",
}  # fmt: skip
BLANK = dict.fromkeys(
    ("stream", "time_format", "decimal", "delimiter", "skip_rows", "encoding", "not_measured")
)


def show(asked: Asked) -> Response:
    """Show what is proposed for a file that waits."""
    stream = asked.text("stream") or None
    if stream is not None and stream not in STREAMS:
        raise MinerError("there is no such kind of records", ", ".join(STREAMS), "Choose one.")
    proposal = map_file(waiting_file(asked.folder, asked.text("file")), stream=stream)
    return _page(asked, proposal, dict(proposal.entry))


def choose(asked: Asked) -> Response:
    """Show how the file would be read as chosen, or write that down."""
    folder, stream = asked.folder, asked.text("stream")
    path = waiting_file(folder, asked.text("file"))
    proposal = map_file(path, stream=stream if stream in STREAMS else None)
    entry = entry_of(asked.text, proposal)
    if asked.text("action") != "use":
        return _page(asked, proposal, entry)
    source_of(entry)
    shared = bool(asked.text("practice"))
    if shared:
        entry["file"] = map_file(path, practice=True, stream=stream).entry["file"]
    target = (asked.desk.practice if shared else folder) / "sources.toml"
    with WRITING:
        add_entry(target, str(entry["file"]), as_toml(entry, ()))
    said = "It is written down how this file is read. Look at what was understood, then add it."
    return asked.go(asked.at("records"), said)


def _page(asked: Asked, proposal: Proposal, entry: Mapping[str, Any]) -> Response:
    found, _ = read_or_fault(asked)
    path = waiting_file(asked.folder, proposal.file)
    look, fault = Look(proposal.file, "records"), ""
    lacking = missing(entry)
    if not lacking:
        try:
            look = look_at(path, asked.folder, entry)
            fault = for_page(look.fault.message) if look.fault else ""
        except MinerError as error:
            fault = for_page(error.message)
    whole = not asked.request.headers.get("x-by-script")
    return page(
        asked, "columns.html" if whole else "preview.html", client=name_of(found, asked),
        file=proposal.file, proposal=proposal, entry=BLANK | dict(entry), holds=HOLDS,
        look=look, fault=fault, lacking=lacking, dates=DATES,
        reasons=[(item.key, item.value, item.reason) for item in proposal.choices],
        open=[
            (for_page(item.reason), [_option(text) for text in item.options])
            for item in proposal.undecided
        ],
        fields=fields_of(proposal, entry), plain=FIELDS,
    )  # fmt: skip


def _option(text: str) -> str:
    """Return a choice of an entry in words: what stands in quotes, and of rows which ones."""
    quoted = re.findall(r'"((?:[^"\\]|\\.)*)"', text)
    if text.startswith("where") and len(quoted) == 2:
        return f"only rows in which {quoted[0]} says {quoted[1]}"
    key = text.partition(" = ")[0].removeprefix("constants.")
    told = {",": "a comma", ".": "a point"}.get(quoted[0] if quoted else "") or (
        ", ".join(quoted) or text
    )
    return f"{NAMES[key]}: {told}" if key in NAMES else told
