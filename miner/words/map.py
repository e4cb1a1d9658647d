"""A proposed mapping for people: the first rows as read, how that is known, and what is asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from shlex import quote
from typing import Any

from miner.core.messages import several
from miner.core.results.mapping import Known, Loss, Mapped, Option, Proposal, ReadRow, Undecided
from miner.words.document import Parts, command, heading, paragraph, section, table
from miner.words.safe import clean
from miner.words.said import book
from miner.words.wording import capital

_RAW, _CELL, _FEW = 200, 40, 12
_PLAIN = ("glucose_mg_dl", "glucose_mmol_l", "label", "tag", "kind", "sensor", "meal")
_BOOK = book("map")
_COLUMNS, _UNITS, _NOUNS = _BOOK["columns"], _BOOK["units"], _BOOK["counted"]
_KNOWN: dict[str, tuple[str, str]] = _BOOK["known"]
_QUESTIONS: dict[str, str] = _BOOK["questions"]
_OPTIONS: dict[str, str] = _BOOK["answers"]


def mapped_parts(
    found: Mapped, *, detail: bool = False, options: str = "", place: str = ""
) -> Parts:
    """Return what is proposed for a file.

    Args:
        found: the proposals.
        detail: with the entries as they would be written, and every column that is not used.
        options: what to repeat where it is saved.
        place: the file as it was typed; its name unless given.
    """
    parts: Parts = []
    for each, asked in zip(found.proposals, found.asked(), strict=True):
        parts += [*([paragraph("")] if parts else []), *proposal_parts(each, asked, detail=detail)]
    unused = [clean(name, _CELL) for name in found.proposals[0].unused]
    if unused:
        more = "" if detail or len(unused) <= _FEW else f" and {len(unused) - _FEW} more"
        listed = ", ".join(unused if detail else unused[:_FEW])
        parts += section("Not used", [paragraph(f"{listed}{more}", 2)])
    told, run = _saved(found, options, place)
    return [*parts, paragraph(""), paragraph(told), command(run)]


def _saved(found: Mapped, options: str, place: str) -> tuple[str, str]:
    run = f"miner map {_quoted(place or found.file)}"
    if found.written is not None:
        told = f"Saved in {clean(found.written)}."
        if found.replaced:
            told += " The entry from before is kept in the same folder."
        return f"{told} To take it back:", f"{run} --undo"
    if not found.complete:
        return "Nothing is saved yet. To decide first:", f"{run}{options} --set ..."
    if found.refused is not None:
        turned = "".join(
            f" --set {_quoted(f'{key}={own}')}" for key, own in found.refused.otherwise.items()
        )
        told = "Nothing is saved yet, for too many rows would be lost. To answer in another way:"
        return told, f"{run}{options}{turned or ' --set ...'}"
    return "Nothing is saved yet. To save it:", f"{run}{options} --write"


def _quoted(text: str) -> str:
    shown = clean(text, 4096)
    return f'"{shown}"' if quote(shown) != shown and '"' not in shown else quote(shown)


def proposal_parts(
    proposal: Proposal, questions: Iterable[tuple[str, Undecided]], *, detail: bool = False
) -> Parts:
    """Return what is proposed for one stream of a file.

    Args:
        proposal: the entry.
        questions: each with the key that answers it.
        detail: with the entry as it would be written.
    """
    parts: Parts = [heading(lead(proposal)), *(paragraph(loss_text(x)) for x in proposal.losses)]
    parts += [paragraph(order_text(x)) for x in proposal.known if x.code == "by_other_files"]
    for row in proposal.sample if detail else proposal.sample[:1]:
        raw = clean(row.raw.replace("\t", " | "), _RAW)
        parts.append(paragraph(f'Row {row.row}, "{raw}": {read_text(row)}.'))
    known = [told for each in proposal.known if (told := known_text(each)) is not None]
    columns = proposal.entry.get("columns", {})
    if columns:
        listed = [f"{clean(own, _CELL)} ({_COLUMNS.get(key, key)})" for key, own in columns.items()]
        known.insert(0, ("columns", ", ".join(listed)))
    parts += section("How we know", _pairs(dict.fromkeys(known), 2))
    asked = [part for key, each in questions for part in question_parts(each, key)]
    parts += section("For you to decide", asked)
    lines = proposal.toml.rstrip().split("\n") if detail else []
    return parts + section("Entry", [paragraph(line, 2) for line in lines])


def _pairs(rows: Iterable[tuple[str, str]], indent: int) -> Parts:
    return table(("", ""), rows, indent=indent, gap=2)


def lead(proposal: Proposal) -> str:
    """Return what a file looks like, in a sentence."""
    name, rows = f'"{clean(proposal.file, 80)}"', several(proposal.rows, "row")
    if proposal.stream is None:
        return f"{name} has {rows}. The file does not show what they hold."
    every = proposal.cadence_min
    gap = "" if every is None else "minute" if every == 1 else f"{every:g} minutes"
    return f"{name} looks like {proposal.stream}: {rows}{gap and f', one every {gap}'}."


def loss_text(loss: Loss) -> str:
    """Return what would be lost, in a sentence."""
    careful, share = ("", ", fewer than one in ten") if loss.few else ("Careful: ", "")
    told = f"{careful}{loss.count} of {several(loss.rows, 'row')} would be left out or cut short"
    first = "" if loss.row is None else f" The first is row {loss.row}."
    return f"{told}{share}.{first} {capital(clean(str(loss.what), 300))}."


def order_text(known: Known) -> str:
    """Return that another file decides in which order day and month stand, in two sentences."""
    facts = _shown(known.facts)
    told = "Careful: the dates in this file do not show which number is the month."
    return f"{told} {facts['files']} shows that it is {facts['order']}."


def read_text(row: ReadRow) -> str:
    """Return how a row would be read: its time with the zone, its values with their units."""
    times = " to ".join(_moment(each) for each in row.times)
    values = []
    for key, value, unit in row.values:
        named = "" if key in _PLAIN else f"{_COLUMNS.get(key, key)} "
        values.append(f"{named}{clean(value, _CELL)} {unit}".rstrip())
    return ", ".join([times, *values])


def _moment(iso: str) -> str:
    time = datetime.fromisoformat(iso)
    ahead = time.utcoffset()
    zone = "" if ahead is None else f" UTC{ahead.total_seconds() / 3600:+g}"
    return f"{time.day} {time:%b %Y} at {time:%H:%M}{zone}"


def known_text(known: Known) -> tuple[str, str] | None:
    """Return a label and the reason for a key, or None where there is nothing to say."""
    if known.code not in _KNOWN:
        return None
    key = known.key.partition(".")[2] or known.key
    facts = _shown({**known.facts, "value": known.value, "key": key})
    label, reason = _KNOWN[known.code]
    return label.format_map(facts), reason.format_map(facts)


def question_parts(question: Undecided, key: str) -> Parts:
    """Return a question with its answers by key, each with what it would mean for the rows."""
    default = (
        "" if question.default is None else f" Until you answer, the answer is {question.default}."
    )
    rows = [
        (f"--set {_quoted(f'{key}={each.value}')}", option_text(each))
        for each in question.options
        if each.value != question.default
    ]
    rows = rows or [(f"--set {key}=...", "")]
    return [paragraph(question_text(question) + default, 2), *_pairs(rows, 4)]


def question_text(question: Undecided) -> str:
    """Return what is asked, in a sentence or two."""
    key = question.key.partition(".")[2] or question.key
    told = _QUESTIONS.get(question.code, "What is {key}?")
    return told.format_map(_shown({**question.facts, "key": key})).strip()


def option_text(option: Option) -> str:
    """Return what an answer would mean for the rows."""
    return _OPTIONS.get(option.code, "").format_map(_shown(option.facts))


def _shown(facts: Mapping[str, Any]) -> dict[str, str]:
    """Return facts as words: counts with their noun, lists quoted, keys and units in English."""
    return {key: _word(key, value) for key, value in facts.items()}


def _word(key: str, value: Any) -> str:
    if key in _NOUNS and isinstance(value, int):
        return several(value, _NOUNS[key])
    if isinstance(value, list):
        plain = [
            f"{each:g}" if isinstance(each, float) else f'"{clean(each, 30)}"' for each in value
        ]
        return " and ".join([", ".join(plain[:-1]), plain[-1]] if len(plain) > 1 else plain)
    if isinstance(value, float):
        return f"{value:.4g}"
    if key in ("first", "last") and value:
        return _moment(str(value)).partition(" at ")[0]
    if key == "key":
        return clean(_COLUMNS.get(str(value), value), _CELL)
    if key in ("value", "said"):
        return clean(_UNITS.get(str(value), value), _CELL)
    return clean(value, _CELL).replace("_first", " first")
