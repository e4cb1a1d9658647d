"""A file of unknown columns: somebody chooses what they are, and sees how it would be read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from miner.core.messages import MinerError, message
from miner.core.results.mapping import Mapped
from miner.page.places import one_line
from miner.page.render import page
from miner.page.request import PageRequest
from miner.page.uploads import waiting_file
from miner.steps import Look, look_at, map_file
from miner.steps.mapping import MOMENTS, columns_for, still_needed, write_entry
from miner.words.map import known_text, option_text, question_text
from miner.words.pages import COLUMN_NAMES, DATE_FORMATS, FILE_FIELDS, STREAM_HOLDS, WHAT_IT_HOLDS

TIME_UNITS = ("min", "h", "s")
SAMPLED = ("stress", "activity", "sleep")
LEVEL = ("at_least", "for_min", "join_gaps_min")
MARKS = {"semicolon": ";", "tab": "\t", "bar": "|"}
_UNSHOWN = ("levels", "meals")


@dataclass(frozen=True, slots=True)
class Field:
    """One column of a stream in the form.

    Attributes:
        units: that may be chosen; empty where there is nothing to choose.
        constant: a word that stands for the column where the file has none.
    """

    name: str
    words: str
    column: str
    needed: bool
    units: tuple[str, ...] = ()
    unit: str = ""
    constant: str = ""


def columns_of(found: Mapped) -> list[str]:
    """Return the file's own columns."""
    used: list[str] = []
    for each in found.proposals:
        used += map(str, each.entry.get("columns", {}).values())
        used += [str(each.entry["episodes"]["column"])] if "episodes" in each.entry else []
    return list(dict.fromkeys([*used, *found.proposals[0].unused]))


def fields_of(found: Mapped, entry: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the form shows: the columns to choose from and a field for each of the stream's.

    Args:
        found: what was proposed for the file.
        entry: what stands in the form now.
    """
    stream, given = str(entry.get("stream") or ""), entry.get("episodes", {})
    columns, units, words = (entry.get(key, {}) for key in ("columns", "units", "constants"))
    fields = [
        Field(
            own.name,
            COLUMN_NAMES.get(own.name, own.name),
            str(columns.get(own.name, "")),
            own.needed,
            TIME_UNITS if own.in_minutes else (),
            str(units.get(own.name, "min" if own.in_minutes else "")),
            str(words.get(own.name, "")),
        )
        for own in columns_for(stream)
    ]
    return {
        "stream": stream,
        "fields": fields,
        "columns": columns_of(found),
        "sampled": stream in SAMPLED,
        "episodes": {name: given.get(name, "") for name in ("column", *LEVEL)} if given else {},
        "level": given.get("column", ""),
        "where": next(iter(entry.get("where", {}).items()), ("", ())),
    }


def missing(entry: Mapping[str, Any]) -> list[str]:
    """Return in words what still has to be chosen before an entry can be used."""
    if not columns_for(str(entry.get("stream") or "")):
        return [WHAT_IT_HOLDS]
    return [" or ".join(COLUMN_NAMES[one] for one in group) for group in still_needed(entry)]


def entry_of(text: Callable[[str], str], found: Mapped) -> dict[str, Any]:
    """Return the entry that a form asks for.

    Args:
        text: gives a field of the form by its name.
        found: what was proposed; the name of the file stays, and what the form does not show.
    """
    stream, known = text("stream"), set(columns_of(found))
    proposed, wanted = found.proposals[0].entry, columns_for(stream)
    if not wanted:
        return {"file": proposed["file"]}
    picked = {own.name: text(f"column-{own.name}") for own in wanted}
    columns = {name: column for name, column in picked.items() if column in known}
    lengths = [own.name for own in wanted if own.in_minutes and own.name in columns]
    said = {name: text(f"unit-{name}") for name in lengths}
    units = {name: unit for name, unit in said.items() if name == "duration" or unit != "min"}
    held = {key: unit for key, unit in proposed.get("units", {}).items() if key in MOMENTS}
    rows, column, level = text("skip_rows"), text("where-column"), text("level-column")
    words = _listed(text("where-words"))
    entry = {
        "file": proposed["file"],
        "stream": stream,
        "time_format": text("time_format")[:60],
        "encoding": text("encoding")[:60],
        "decimal": "," if text("decimal") == "," else "",
        "delimiter": MARKS.get(text("delimiter")),
        "skip_rows": int(rows[:4]) if rows.isdecimal() else 0,
        "not_measured": _listed(text("not_measured")),
        "columns": columns,
        "units": units | {key: unit for key, unit in held.items() if key in columns},
        "constants": {
            name: text(f"constant-{name}")[:60]
            for name in picked
            if name not in columns and text(f"constant-{name}")
        },
        "where": {column: words} if column in known and words else {},
    }
    if stream == proposed.get("stream"):
        entry |= {table: proposed.get(table) for table in _UNSHOWN}
    if stream in SAMPLED and level in known:
        numbers = {name: _number(text(f"level-{name}")) for name in LEVEL}
        entry["episodes"] = {"column": level, **numbers}
    return {key: value for key, value in entry.items() if value or key == "columns"}


def _listed(text: str) -> list[str]:
    return [word.strip() for word in text[:400].split(",") if word.strip()]


def _number(text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return 0
    return int(value) if value.is_integer() else value


BLANK = dict.fromkeys(
    ("stream", "time_format", "decimal", "delimiter", "skip_rows", "encoding", "not_measured")
)


def show(request: PageRequest) -> Response:
    """Show what is proposed for a file that waits."""
    stream = request.text("stream") or None
    if stream is not None and stream not in STREAM_HOLDS:
        raise MinerError("page.no_such_stream", streams=list(STREAM_HOLDS))
    found = _proposed(request, stream)
    return _page(request, found, found.proposals[0].entry)


def choose(request: PageRequest) -> Response:
    """Show how the file would be read as chosen, or write that down."""
    folder, stream = request.folder, request.text("stream")
    path = waiting_file(folder, request.text("file"))
    found = _proposed(request, stream if stream in STREAM_HOLDS else None)
    entry = entry_of(request.text, found)
    if request.text("action") != "use":
        return _page(request, found, entry)
    replaced = write_entry(path, folder, entry, practice=bool(request.text("practice")))
    said = message("page.mapping_replaced" if replaced else "page.mapping_written")
    return request.go(request.at("records"), said)


def _proposed(request: PageRequest, stream: str | None) -> Mapped:
    """Return what is proposed for a file that waits, of one stream where that is chosen."""
    path = waiting_file(request.folder, request.text("file"))
    return map_file(path, client=request.folder, answers={"stream": stream} if stream else None)


def _page(request: PageRequest, mapped: Mapped, entry: Mapping[str, Any]) -> Response:
    request.read_or_fault()
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
            (question_text(item), [f"{x.value}: {option_text(x)}" for x in item.options])
            for item in proposal.questions
        ],
        fields=fields_of(mapped, entry),
        plain=FILE_FIELDS,
    )
