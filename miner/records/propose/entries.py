"""Which streams a table feeds, and the entry of each of them as far as it is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import numpy as np

from miner.core.messages import MinerError
from miner.core.results.mapping import Option
from miner.records.client import STREAMS
from miner.records.place.placing import MIDNIGHT, join
from miner.records.place.times import hint
from miner.records.propose.columns import Column, columns_of, how_written, tokens
from miner.records.propose.streams import Claim, Filling, claims, feeds
from miner.records.propose.times import TimeColumns, map_clock, map_format, map_times, times_of

if TYPE_CHECKING:
    from miner.records.propose.notes import Notes
    from miner.records.propose.propose import Job
    from miner.records.read.table_file import RawTable
    from miner.records.read.text_file import TextFile

SAMPLED = ("glucose", "stress", "activity")
_SOME_ROWS = 0.5


_CLOCK = r"\d{1,2}:\d\d(:\d\d)?( ?[AaPp][Mm])?"
_MOSTLY = 0.8


@dataclass(frozen=True, slots=True)
class FilePart:
    """One table of a file: a sheet, a file of an archive, or the only one there is.

    Attributes:
        job: the file.
        text: the table as text.
        table: its rows.
        columns: what they hold; a time of day that is apart is put to its date.
        times: those that hold times.
        apart: the names of the columns with dates and with times of day, where they are apart.
    """

    job: Job
    text: TextFile
    table: RawTable
    columns: list[Column]
    times: TimeColumns
    apart: tuple[str, str] | None


@dataclass(frozen=True, slots=True)
class Fed:
    """What a table gives to one stream, or to one that is asked for (None).

    Attributes:
        part: the table.
        stream: the stream.
        notes: the entry.
        taken: the columns with its values.
        unused: the names of the columns that no entry of the table uses.
    """

    part: FilePart
    stream: str | None
    notes: Notes
    taken: tuple[Column, ...]
    unused: tuple[str, ...]


def entries_of(part: FilePart, notes: Notes) -> list[Fed]:
    """Return an entry for each stream that a table feeds.

    Args:
        part: the table.
        notes: how it is laid out, and what a person says.

    Raises:
        MinerError: an answer cannot be used.
    """
    given = notes.answers.pop("stream", None)
    if given is not None:
        found = [_said(each.strip(), part, notes) for each in given.split(",")]
    else:
        kinds = _kinds_of_rows(part)
        if kinds:
            every = [_rows_of(part, notes, stream, *rows) for stream, rows in kinds.items()]
            return [one for each in every for one in entries_of(*each)]
        named = tokens(PurePath(part.job.path.name).stem)
        found = claims(named, part.columns, part.times)
        if not _clear(found, part, notes):
            return [Fed(part, None, notes, (), tuple(each.name for each in part.columns))]
    free, built = part.columns, list[Filling]()
    for claim in found:
        if given is not None or not built or _comes_along(claim, free, part):
            own = notes.copy(_answers(notes.answers, claim.stream))
            own.choose("stream", claim.stream, "speaks")
            built.append(_filled(part, claim, free, own))
            free = built[-1].columns
    _finish([each.notes for each in built])
    used = {name for each in built for name in _own_columns(each.notes.table())}
    unused = tuple(each.name for each in part.columns if each.name not in used)
    return [Fed(part, x.claim.stream, x.notes, (*x.taken.values(),), unused) for x in built]


def _said(stream: str, part: FilePart, notes: Notes) -> Claim:
    """Return the claim of a stream that a person names."""
    if stream not in STREAMS:
        raise notes.no_option("stream", stream, STREAMS)
    if not part.times.any and (stream != "tags" or not part.times.dates):
        raise _without_times(part)
    fed = feeds(stream, part.columns, part.times, weak=True)
    return Claim(stream, part.times.book.streams[stream], 1, fed or ())


def _clear(found: Sequence[Claim], part: FilePart, notes: Notes) -> bool:
    """Say whether one stream is clearly meant; else ask which."""
    first = set(found[0].essential) if found else set()
    rivals = [
        x for x in found if x.marks == found[0].marks and (x.essential and set(x.essential) & first)
    ]
    if found and len(rivals) < 2:
        return True
    rows = {"rows": len(part.table.rows)}
    fits = [each.stream for each in rivals] or [
        each for each in STREAMS if feeds(each, part.columns, part.times, weak=True) is not None
    ]
    if not fits and not part.times.any:
        raise _without_times(part)
    code, facts = "nothing_speaks", dict[str, Any]()
    if rivals:
        code, facts = "several_streams", {"streams": fits}
    options = [Option(each, {"stream": each}, "stream", rows) for each in fits]
    notes.ask("stream", code, options, needed=True, **facts)
    return False


def _without_times(part: FilePart) -> MinerError:
    """Return the refusal of a table in which no column holds dates with times of day."""
    name = part.job.path.name
    if part.times.dates:
        return MinerError("records.dates_alone", file=name, column=part.times.dates[0].name)
    filled = [each for each in part.columns if each.filled]
    named = [each for each in filled if part.times.book.times["time"].stand_in(each.words)]
    for column in [*named, *(each for each in filled if hint(next(iter(each.counts))))]:
        first = str(column.text[column.text != ""].iloc[0])
        seems = hint(first)
        return MinerError(
            "records.times_that_seem_else" if seems else "records.times_not_readable",
            file=name,
            column=column.name,
            first=first[:40],
            hint=seems,
        )
    return MinerError("records.no_column_of_times", file=name)


def _comes_along(claim: Claim, free: Sequence[Column], part: FilePart) -> bool:
    """Say whether a file feeds one more stream from the columns that are still free.

    A level, steps and readings do so where they are sampled: one figure a night is no episode.
    """
    fed = feeds(claim.stream, free, part.times, weak=False)
    if not fed:
        return False
    if claim.stream == "tags":
        return max(each.filled for each in fed) < _SOME_ROWS * len(part.table.rows)
    return claim.stream not in SAMPLED or part.times.cadence_min is not None


def _answers(answers: Mapping[str, str], stream: str) -> dict[str, str]:
    """Return the answers that may be about a stream; what is about it alone comes first."""
    mine = {key: text for key, text in answers.items() if key.partition(".")[0] not in STREAMS}
    for key, text in answers.items():
        if key.startswith(f"{stream}."):
            mine[key.removeprefix(f"{stream}.")] = text
    return mine


def _finish(every: Sequence[Notes]) -> None:
    """Give what nothing asked for to the first entry, unless another one took it."""
    for at, notes in enumerate(every):
        for key in list(notes.answers):
            if at or any(key not in each.answers for each in every):
                del notes.answers[key]
        notes.finish()


def _filled(part: FilePart, claim: Claim, free: Sequence[Column], notes: Notes) -> Filling:
    mapped = map_times(part.times, claim.rule, notes)
    length = notes.get("columns.duration")
    rest = [each for each in free if each.written is None and each.name != length]
    filling = Filling(claim, rest, part.times, notes)
    filling.fill()
    filling.columns = [each for each in free if each not in filling.taken.values()]
    if mapped:
        if part.apart is not None and mapped[0].name == part.apart[0]:
            date, clock = part.apart
            notes.choose("columns.time_of_day", clock, "time_of_day", date=date)
        map_format(mapped, notes, part.job)
        nights = filling.minutes() if claim.stream == "sleep" else None
        low, high = claim.rule.middle
        half = low if nights is None else float(np.nanmedian(nights))
        if half > 0 and not low <= half <= high:
            options = [Option("nights", {}, "nights")]
            notes.ask("rows", "not_nights", options, needed=True, middle=half)
        map_clock(part.columns, mapped[0], nights, notes, part.job)
    return filling


def _own_columns(entry: Mapping[str, Any]) -> list[str]:
    episodes = [entry["episodes"]["column"]] if "episodes" in entry else []
    return [*entry.get("columns", {}).values(), *episodes, *entry.get("where", {})]


def _kinds_of_rows(part: FilePart) -> dict[str, tuple[Column, list[str]]]:
    """Return the streams whose rows are one below the other, told apart by a column of words."""
    for column in part.columns:
        found: dict[str, tuple[Column, list[str]]] = {}
        for word in column.listed if column.filled == len(part.table.rows) else ():
            for stream, rule in part.times.book.streams.items():
                if rule.speaks.stand_in(tokens(word)):
                    found.setdefault(stream, (column, []))[1].append(word)
        if len(found) > 1:
            return found
    return {}


def _rows_of(
    part: FilePart, notes: Notes, stream: str, column: Column, words: list[str]
) -> tuple[FilePart, Notes]:
    """Return the rows of one kind as a table of its own, and notes that keep only these."""
    table = part.table.keep(column.text.isin(words).to_numpy())
    names = [x.name for x in part.columns if x is not column and (table.text(x.name) != "").any()]
    table = replace(table, cells=table.cells[names])
    own = notes.copy(_answers(notes.answers, stream) | {"stream": stream})
    own.choose(f"where.{column.name}", words, "kinds_of_rows", column=column.name)
    columns, apart = joined(columns_of(table, own, marked=True), own)
    times = times_of(columns, own.book)
    return replace(part, table=table, columns=columns, times=times, apart=apart), own


def joined(columns: list[Column], notes: Notes) -> tuple[list[Column], tuple[str, str] | None]:
    """Return the columns with the time of day put to the dates, where no column holds both.

    Args:
        columns: of the file.
        notes: asks which, where several hold times of day.

    Returns:
        The columns, and the names of the one with the dates and of the one with the times of day.
    """
    dates = [each for each in columns if _dates_only(each)]
    clocks = [each for each in columns if each.text.str.fullmatch(_CLOCK).mean() > _MOSTLY]
    clocks = [each for each in clocks if not notes.book.says_length(each.words)]
    both = any(each.timed and each not in dates for each in columns)
    if both or len(dates) != 1 or not clocks:
        return columns, None
    if len(clocks) > 1:
        said = notes.ask_which("time_of_day", clocks, "several_apart", needed=True)
        clocks = [each for each in clocks if each.name == said] or clocks
    date, clock = dates[0], clocks[0]
    text = join(date.text, clock.text)
    told = clock.text.str.fullmatch(_CLOCK)
    form = notes.answers.get("time_format")
    whole = replace(date, text=text, written=how_written(text.where(told, ""), form))
    kept = [whole if each is date else each for each in columns if each is not clock]
    return kept, (date.name, clock.name)


def _dates_only(column: Column) -> bool:
    """Say whether it holds dates, as some spreadsheets write them with a midnight behind each."""
    if column.written is None or column.written.unit:
        return False
    known = column.text[column.text != ""]
    return column.written.dates_only or bool(known.str.contains(MIDNIGHT).all())
