"""A file of unknown columns: somebody chooses what they are, and sees how it would be read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.responses import Response

from miner.core.errors import MinerError
from miner.core.messages import message
from miner.core.results.mapping import Mapped
from miner.page.entry_form import TIMES, entry_of, fields_of, missing
from miner.page.render import page
from miner.page.request import PageRequest
from miner.page.uploads import waiting_file
from miner.page.views.client import name_of, read_or_fault
from miner.page.words import for_page, one_line
from miner.records.client import STREAMS
from miner.records.propose import as_toml, put_entries
from miner.records.write.settings_file import WRITING
from miner.steps.looking import Look, look_at, source_of
from miner.steps.mapping import map_file
from miner.words.map import known_text, option_text, question_text
from miner.words.pages import DATE_FORMATS, FILE_FIELDS, STREAM_HOLDS

BLANK = dict.fromkeys(
    ("stream", "time_format", "decimal", "delimiter", "skip_rows", "encoding", "not_measured")
)


def show(request: PageRequest) -> Response:
    """Show what is proposed for a file that waits."""
    stream = request.text("stream") or None
    if stream is not None and stream not in STREAMS:
        raise MinerError("page.no_such_stream", streams=list(STREAMS))
    found = _proposed(request, stream)
    return _page(request, found, dict(found.proposals[0].entry))


def choose(request: PageRequest) -> Response:
    """Show how the file would be read as chosen, or write that down."""
    folder, stream = request.folder, request.text("stream")
    path = waiting_file(folder, request.text("file"))
    found = _proposed(request, stream if stream in STREAMS else None)
    entry = entry_of(request.text, found)
    if request.text("action") != "use":
        return _page(request, found, entry)
    source_of(entry)
    shared = bool(request.text("practice"))
    entries = [entry, *_beside(entry, map_file(path, client=folder, practice=shared))]
    if shared:
        named = map_file(path, client=folder, practice=True).proposals[0].entry["file"]
        entries = [each | {"file": named} for each in entries]
    target = (request.state.practice if shared else folder) / "sources.toml"
    with WRITING:
        replaced = put_entries(target, path.name, "\n".join(map(as_toml, entries)))
    said = message("page.mapping_replaced" if replaced else "page.mapping_written")
    return request.go(request.at("records"), said)


def _proposed(request: PageRequest, stream: str | None) -> Mapped:
    """Return what is proposed for a file that waits, of one stream where that is chosen."""
    path = waiting_file(request.folder, request.text("file"))
    return map_file(path, client=request.folder, answers={"stream": stream} if stream else None)


def _beside(entry: Mapping[str, Any], found: Mapped) -> list[dict[str, Any]]:
    """Return the entries of other streams that the file feeds from columns of their own."""
    taken = set(entry["columns"].values())
    return [
        dict(each.entry)
        for each in found.proposals
        if each.complete and each.stream != entry["stream"] and each.refused is None
        if not taken & {own for key, own in each.entry["columns"].items() if key not in TIMES}
    ]


def _page(request: PageRequest, mapped: Mapped, entry: Mapping[str, Any]) -> Response:
    found, _ = read_or_fault(request)
    proposal = mapped.proposals[0]
    path = waiting_file(request.folder, proposal.file)
    look, fault = Look(proposal.file, "records"), ""
    lacking = missing(entry)
    if not lacking:
        try:
            look = look_at(path, request.folder, entry)
            fault = one_line(look.fault) if look.fault else ""
        except MinerError as error:
            fault = one_line(error)
    whole = not request.http.headers.get("x-by-script")
    return page(
        request,
        "columns.html" if whole else "preview.html",
        client=name_of(found, request),
        file=proposal.file,
        proposal=proposal,
        entry=BLANK | dict(entry),
        holds=STREAM_HOLDS,
        look=look,
        fault=fault,
        lacking=lacking,
        dates=DATE_FORMATS,
        reasons=[told for item in proposal.known if (told := known_text(item)) is not None],
        open=[
            (for_page(question_text(item)), [f"{x.value}: {option_text(x)}" for x in item.options])
            for item in proposal.questions
        ],
        fields=fields_of(mapped, entry),
        plain=FILE_FIELDS,
    )
