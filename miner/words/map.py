"""A proposed mapping for people: the first rows as read, how that is known, and what is asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from shlex import quote
from typing import Any

from miner.core.messages import several
from miner.core.results.mapping import Known, Loss, Mapped, Option, Proposal, ReadRow, Undecided
from miner.words.document import Parts, heading, paragraph, section, table
from miner.words.safe import clean
from miner.words.wording import capital

_RAW, _CELL, _FEW = 200, 40, 12
_COLUMNS = {
    "duration": "length",
    "time_of_day": "clock",
    "utc_offset": "offset from UTC",
    "glucose_mg_dl": "glucose",
    "glucose_mmol_l": "glucose",
    "asleep_min": "asleep",
    "deep_min": "deep sleep",
    "rem_min": "dream sleep",
    "light_min": "light sleep",
    "awake_min": "awake",
    "active_min": "moving",
    "meal": "which meal",
    "label": "food",
    "carbs_g": "carbohydrate",
    "protein_g": "protein",
    "fat_g": "fat",
    "fibre_g": "fibre",
    "energy_kcal": "energy",
    "for_min": "for at least",
    "join_gaps_min": "gaps up to",
}
_PLAIN = ("glucose_mg_dl", "glucose_mmol_l", "label", "tag", "kind", "sensor", "meal")
_UNITS = {
    "s": "seconds",
    "min": "minutes",
    "h": "hours",
    "epoch_s": "seconds since 1970",
    "epoch_ms": "milliseconds since 1970",
}
_NOUNS = {
    "rows": "row",
    "filled": "cell",
    "different": "sensor",
    "count": "date",
    "nights": "night",
    "fits": "date",
    "near": "date",
    "fails": "date",
    "widest": "day",
}

# What speaks for each kind of choice: a label, and the reason. {key} is the column of the stream.
_KNOWN = {
    "day_first": ("day first", "in {count} the first number is above 12, such as {shown}"),
    "month_first": ("month first", "in {count} the second number is above 12, such as {shown}"),
    "by_other_files": ("{order}", "as in {files}"),
    "since_1970": ("{key}", "{value}, such as {shown}"),
    "too_low_for_mg_dl": ("mmol/L", "half of the values are below {middle}, too low for mg/dL"),
    "too_high_for_mmol_l": ("mg/dL", "half of the values are above {middle}, too high for mmol/L"),
    "glucose_by_name": ("{unit}", "{column} says so"),
    "comma": ("comma", '"{shown}" is in {column}'),
    "header": ("header", "row {row} has the names of the columns"),
    "byte_order_mark": ("encoding", "{value}, by the mark it begins with"),
    "letters": ("encoding", "{value}, in which the letters make words: {shown}"),
    "zero_bytes": ("encoding", "{value}: every other byte is zero"),
    "order_by_values": ("{key}", "by the times in {rows}; the names say it the other way round"),
    "start_by_values": ("{key}", "by the times in {rows}: it is never the other way round"),
    "unit_by_values": ("{key}", "{value}: half of the values are below {middle}"),
    "sum_of_stages": ("asleep", "{column} is the sum of the stages in {rows} of {of}"),
    "sensor": ("sensor", "{value} names {different}"),
    "nothing_words": ("no value", "{words} in {column}"),
    "below_zero": ("no value", "{words}: levels begin at 0"),
    "not_worn": ("not worn", "{words} in {rows}: the tracker was off"),
    "level_word": ("level", '"{key}" counts {value} ({rows})'),
    "meal_word": ("meal", '"{key}" is {value} ({rows})'),
    "upper_quarter": ("counts from", "{value}, the client's own upper quarter ({above} of {rows})"),
    "usual": ("{key}", "{value} minutes, unless you say otherwise"),
    "own_offset": ("clock", "the times say how far they are from UTC"),
    "counted_in_utc": ("clock", "counts since 1970 are in UTC"),
    "offset_is_zero": ("clock", "the client's; {column} is 0 in every row"),
    "clock_by_name": ("clock", "{name} says so"),
    "count_local": ("clock", "the client's; {column} is what separates the times from {count_of}"),
    "count_utc": ("clock", "UTC; {count_of} shows the same times"),
    "nights_utc": (
        "clock",
        "UTC: fewer steps and meals while asleep on {nights}, more on {others}",
    ),
    "nights_local": ("clock", "not UTC: fewer steps while asleep on {nights}, more on {others}"),
    "no_kind": ("kind", "steps; no column says what the movement was"),
    "blocks": ("length", "{every} minutes, up to the next row"),
    "no_label": ("food", "no column says what was eaten"),
    "kinds_of_rows": ("rows", "those in which {column} is {value}"),
    "time_of_day": ("clock", "{value} completes the dates in {date}"),
    "given": ("{key}", "{value}, as you say"),
}

_QUESTIONS = {
    "orders": "Which comes first in a date such as {shown}? Each of these ways can be meant.",
    "unlike": "How are the dates written? Start and end are not written alike.",
    "thousands": 'Is "{shown}" in {column} a fraction, or is the comma for thousands?',
    "thousands_point": 'Is "{shown}" in {column} a fraction, or is the point for thousands?',
    "encodings": "How is it encoded? These letters tell: {odd}.",
    "several": "Which column is it for {key}? More than one may be.",
    "none": "Which column is it for {key}? None looks like it.",
    "several_apart": "Which column has the times? Dates and times of day are in several.",
    "unit_unknown": "In which unit is {column}? Its name has none. Half of it is below {middle}.",
    "unit_contradicts": "In which unit is {column}? Its name says {said}, its values do not.",
    "glucose_unknown": "In which unit is {column}? Half of it is below {middle}.",
    "glucose_contradicts": "In which unit is {column}? Its name says {said}, its values do not.",
    "odd_words": '{words} in {column}: does that mean "no reading"? The rest can be read.',
    "not_food": "{words} in {column} ({rows}): does that treat a low, or note a medicine?",
    "level_of": 'What does "{word}" in {column} ({rows}) count?',
    "not_nights": "Is each row a night? Half of them last less than {middle} minutes.",
    "offset_beside": "Are the times in UTC? {column} has an offset beside them.",
    "several_streams": "What does this file hold? It may be {streams}.",
    "people": "Whose records are these? {column} names {people} people.",
    "nothing_speaks": "What does this file hold? Its columns do not say so.",
}

_OPTIONS = {
    "dates": "{fits}, first {first}, last {last}, at most {widest} apart",
    "dates_near": "{fits}, first {first}, last {last}; {near} on the days of the glucose",
    "dates_fail": "{fits}, first {first}, last {last}; {fails} would not exist",
    "cells": "{filled}, such as {shown}",
    "read_as": "read as {shown}",
    "text": "reads {shown}",
    "unread": "they are left out, and reported",
    "blank": "they count as not measured",
    "nights": "each row is one night",
    "level_0": "none",
    "level_1": "a little",
    "level_2": "some",
    "level_3": "much",
    "level_4": "very much",
    "level_unknown": "not known in these rows",
    "no_food": "no meal",
    "some_food": "meals like others",
    "clock_utc": "every time is moved by {hours} hours",
    "clock_local": "every time stays as it is",
    "stream": "{rows}",
    "of_person": "{rows} of that person",
}


def mapped_parts(found: Mapped, *, detail: bool = False, command: str = "") -> Parts:
    """Return what is proposed for a file.

    Args:
        found: the proposals.
        detail: with the entries as they would be written, and every column that is not used.
        command: the options to repeat where it is saved.
    """
    parts: Parts = []
    for each, asked in zip(found.proposals, found.asked(), strict=True):
        parts += [*([paragraph("")] if parts else []), *proposal_parts(each, asked, detail=detail)]
    unused = [clean(name, _CELL) for name in found.proposals[0].unused]
    if unused:
        more = "" if detail or len(unused) <= _FEW else f" and {len(unused) - _FEW} more"
        listed = ", ".join(unused if detail else unused[:_FEW])
        parts += section("Not used", [paragraph(f"{listed}{more}", 2)])
    return [*parts, paragraph(""), paragraph(_saved(found, command))]


def _saved(found: Mapped, command: str) -> str:
    run = f"miner map {_quoted(found.file)}"
    if found.written is not None:
        told = f"Saved in {clean(found.written)}."
        if found.replaced:
            told += " The entry before is kept beside it."
        return f"{told} To take it back: {run} --undo"
    if not found.complete:
        return f"Nothing is saved yet. Decide first: {run}{command} --set ..."
    if found.refused is not None:
        turned = "".join(
            f" --set {_quoted(f'{key}={own}')}" for key, own in found.refused.otherwise.items()
        )
        told = "As it stands too much would be lost to save it."
        return (
            f"Nothing is saved yet. {told} Answer otherwise: {run}{command}{turned or ' --set ...'}"
        )
    return f"Nothing is saved yet. To save it: {run}{command} --write"


def _quoted(text: str) -> str:
    shown = clean(text, 120)
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
    for row in proposal.sample:
        raw = clean(row.raw.replace("\t", " | "), _RAW)
        parts += [paragraph(f'Row {row.row}, "{raw}"'), paragraph(read_text(row, proposal), 4)]
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
        return f"{name} has {rows}. What they hold could not be decided."
    every = proposal.cadence_min
    gap = "" if every is None else "minute" if every == 1 else f"{every:g} minutes"
    return f"{name} looks like {proposal.stream}: {rows}{gap and f', one every {gap}'}."


def loss_text(loss: Loss) -> str:
    """Return what would be lost, in a sentence."""
    told = f"{loss.count} of {several(loss.rows, 'row')} would be left out or cut short"
    first = "" if loss.row is None else f", the first in row {loss.row}"
    told = f"{told}, fewer than one in ten{first}." if loss.few else f"Careful: {told}{first}."
    return f"{told} {capital(clean(str(loss.what), 300))}."


def order_text(known: Known) -> str:
    """Return that another file decides in which order day and month stand, in two sentences."""
    facts = _shown(known.facts)
    told = "Careful: this file alone does not say which is the month."
    return f"{told} {facts['files']} decides: {facts['order']}."


def read_text(row: ReadRow, proposal: Proposal) -> str:
    """Return how a row would be read: the stream, its time with the zone, its values with units."""
    times = " to ".join(_moment(each) for each in row.times)
    values = []
    for key, value, unit in row.values:
        named = "" if key in _PLAIN else f"{_COLUMNS.get(key, key)} "
        values.append(f"{named}{clean(value, _CELL)} {unit}".rstrip())
    return f"{proposal.stream}, {times}{': ' if values else ''}{', '.join(values)}"


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
    default = "" if question.default is None else f" Until you answer: {question.default}."
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
