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
from miner.page.views.client import name_of, read_or_fault
from miner.records.client import STREAMS
from miner.records.columns import COLUMNS, known_columns
from miner.records.propose.saved import as_toml, put_entries
from miner.records.read.sources import TIME_OF_DAY, UTC_OFFSET
from miner.records.write.settings_file import WRITING
from miner.steps.mapping import Look, look_at, map_file, source_of
from miner.words.map import known_text, option_text, question_text
from miner.words.pages import COLUMN_NAMES, DATE_FORMATS, FILE_FIELDS, STREAM_HOLDS, WHAT_IT_HOLDS

TIME_UNITS = ("min", "h", "s")
SAMPLED = ("stress", "activity", "sleep")
TIMES = ("time", "start", "end", "duration", TIME_OF_DAY, UTC_OFFSET)
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
    stream = str(entry.get("stream") or "")
    columns = entry.get("columns", {})
    fields = []
    for name in _wanted(stream):
        units = TIME_UNITS if _in_minutes(stream, name) else ()
        fields.append(
            Field(
                name,
                COLUMN_NAMES.get(name, name),
                str(columns.get(name, "")),
                _needed(stream, name),
                units,
                str(entry.get("units", {}).get(name, "min" if units else "")),
                str(entry.get("constants", {}).get(name, "")),
            )
        )
    level = ("column", "at_least", "for_min", "join_gaps_min")
    given = entry.get("episodes", {})
    episodes = {name: given.get(name, "") for name in level} if given else {}
    return {
        "stream": stream,
        "fields": fields,
        "columns": columns_of(found),
        "sampled": stream in SAMPLED,
        "episodes": episodes,
        "level": given.get("column", ""),
        "where": next(iter(entry.get("where", {}).items()), ("", ())),
    }


def missing(entry: Mapping[str, Any]) -> list[str]:
    """Return in words what still has to be chosen before an entry can be used."""
    stream = str(entry.get("stream") or "")
    if stream not in COLUMNS:
        return [WHAT_IT_HOLDS]
    given = {*entry.get("columns", {}), *entry.get("constants", {})}
    said, spec = [], COLUMNS[stream]
    if entry.get("episodes") or not spec.interval or stream == "tags":
        said += [] if given & {"time", "start"} else [_called("time")]
    else:
        said += [] if "start" in given else [_called("start")]
        said += [] if given & {"end", "duration"} else [_called("end", "duration")]
    said += [_called(name) for name in spec.needed if name not in given]
    if stream == "glucose" and not given & {"glucose_mg_dl", "glucose_mmol_l"}:
        said.append(_called("glucose_mg_dl", "glucose_mmol_l"))
    return said


def _called(*columns: str) -> str:
    return " or ".join(COLUMN_NAMES[column] for column in columns)


def entry_of(text: Callable[[str], str], found: Mapped) -> dict[str, Any]:
    """Return the entry that a form asks for.

    Args:
        text: gives a field of the form by its name.
        found: what was proposed; the name of the file stays, and what the form does not show.
    """
    stream, known = text("stream"), set(columns_of(found))
    proposed = found.proposals[0].entry
    entry: dict[str, Any] = {"file": proposed["file"]}
    if stream not in COLUMNS:
        return entry
    entry["stream"] = stream
    entry |= _plain(text)
    names = _wanted(stream)
    picked = {name: text(f"column-{name}") for name in names}
    entry["columns"] = {name: column for name, column in picked.items() if column in known}
    units = {
        name: text(f"unit-{name}")
        for name in entry["columns"]
        if _in_minutes(stream, name) and (name == "duration" or text(f"unit-{name}") != "min")
    }
    units |= {
        key: unit
        for key, unit in proposed.get("units", {}).items()
        if key in (*TIMES[:3], UTC_OFFSET) and key in entry["columns"]
    }
    constants = {
        name: text(f"constant-{name}")[:60]
        for name in names
        if name not in entry["columns"] and text(f"constant-{name}")
    }
    column, words = text("where-column"), _listed(text("where-words"))
    where = {column: words} if column in known and words else {}
    entry |= {"units": units} if units else {}
    entry |= {"constants": constants} if constants else {}
    entry |= {"where": where} if where else {}
    if stream == proposed.get("stream"):
        entry |= {table: proposed[table] for table in _UNSHOWN if table in proposed}
    if text("level-column") in known and stream in SAMPLED:
        entry["episodes"] = {
            "column": text("level-column"),
            "at_least": _number(text("level-at_least")),
            "for_min": _number(text("level-for_min")),
            "join_gaps_min": _number(text("level-join_gaps_min")),
        }
    return entry


def _plain(text: Callable[[str], str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in ("time_format", "encoding"):
        if text(name):
            found[name] = text(name)[:60]
    if text("decimal") == ",":
        found["decimal"] = ","
    delimiter = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}.get(text("delimiter"))
    if delimiter not in (None, ","):
        found["delimiter"] = delimiter
    if text("skip_rows").isdecimal() and text("skip_rows") != "0":
        found["skip_rows"] = int(text("skip_rows")[:4])
    words = _listed(text("not_measured"))
    return found | ({"not_measured": words} if words else {})


def _wanted(stream: str) -> tuple[str, ...]:
    if stream not in COLUMNS:
        return ()
    spec = COLUMNS[stream]
    times = ("time", "start", "end") if stream == "tags" else spec.times
    if stream in SAMPLED:
        times = (*times, "duration", "time")
    times = (*times, TIME_OF_DAY, UTC_OFFSET)
    return (*times, *(name for name in known_columns(stream) if name not in times))


def _needed(stream: str, name: str) -> bool:
    return name in COLUMNS[stream].needed or (name == "time" and not COLUMNS[stream].interval)


def _in_minutes(stream: str, name: str) -> bool:
    number = COLUMNS[stream].numbers.get(name)
    return name == "duration" or (number is not None and number.unit == "min")


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
            (question_text(item), [f"{x.value}: {option_text(x)}" for x in item.options])
            for item in proposal.questions
        ],
        fields=fields_of(mapped, entry),
        plain=FILE_FIELDS,
    )
