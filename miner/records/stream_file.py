"""Reads one file as the stream it feeds: its rows, their times, their values.

Whole numbers whose decimals may be in the next column (``5,8`` between commas) are reported.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from miner.core.messages import Severity
from miner.records.check.one_person import person_of
from miner.records.check.plausible import without_impossible_dates
from miner.records.columns import (
    BACKWARDS,
    COLUMNS,
    NO_END,
    NO_LEVEL,
    NO_TIME,
    STILL,
    STILL_KINDS,
    TOO_LONG,
    columns_of,
    empty,
)
from miner.records.place.glucose import read_glucose
from miner.records.place.placing import PlacedRows, place_rows, with_time_of_day
from miner.records.place.samples import INTERVAL, rows_worn, sampled
from miner.records.read.cells import (
    doubt_thousands,
    read_choice,
    read_numbers,
    read_words,
    to_numbers,
)
from miner.records.read.kinds import open_file
from miner.records.read.sources import Source, canonical
from miner.records.read.table_file import RawTable, check_header, read_rows
from miner.records.read.text_file import open_text
from miner.records.text_columns import blank, repeated

if TYPE_CHECKING:
    from miner.records.client import Settings
    from miner.records.findings import Findings
    from miner.records.read.discover import FoundFile

_FEWEST, _SHARE = 6, 0.3
_FEWEST_READINGS = 24
_MOLAR = "glucose_mmol_l"
MOST_NAMES = 12


def lost_decimals(table: RawTable, source: Source, findings: Findings) -> bool:
    """Report columns whose decimals are in the next one; say whether glucose cannot be used.

    The next column is one that nobody maps, the last of the file, and holds but one to three
    digits, next to whole numbers only. In mmol/L readings without a decimal are no accident.

    Args:
        table: the rows that are read.
        source: how they are read.
        findings: gets what is reported.
    """
    numbers = COLUMNS[source.stream].numbers
    mapped = [name for name in numbers if name in source.columns]
    level = [source.episodes.column] if source.episodes else []
    stops = False
    for column in (*(source.columns[name] for name in mapped), *level):
        beside, molar = _beside(table, column, source), column == source.columns.get(_MOLAR)
        if not (beside or molar) or not _all_whole(table, column, source):
            continue
        if not beside and len(table.rows) < _FEWEST_READINGS:
            continue
        stops |= molar and bool(beside)
        values = {"beside": beside} if beside else {}
        findings.add(
            Severity.STOP if molar and beside else Severity.QUESTION,
            "lost_decimals",
            told_as="lost_decimals_beside" if beside else "",
            file=table.file,
            row=int(table.rows[0]),
            column=column,
            values=values,
        )
    return stops


def _all_whole(table: RawTable, column: str, source: Source) -> bool:
    values, _ = to_numbers(table, column, source)
    known = values[np.isfinite(values)]
    return known.size >= _FEWEST and bool((known % 1 == 0).all())


def _beside(table: RawTable, column: str, source: Source) -> str:
    """Return the column that may hold the decimals of another, or an empty text."""
    names = [str(name) for name in table.cells.columns]
    if source.delimiter != "," or column not in names[:-1]:
        return ""
    following = names[names.index(column) + 1]
    if following != names[-1] or following in source.needed:
        return ""
    cells = table.cells[following]
    if pd.api.types.is_float_dtype(cells):  # whole numbers with blanks between
        cells = cells.astype("Int64") if (cells.dropna() % 1 == 0).all() else cells
    text = cells.astype("str").where(cells.notna(), "").str.strip()
    written = text[text != ""]
    enough = len(written) >= max(_FEWEST, _SHARE * len(text))
    return following if enough and bool(written.str.fullmatch(r"\d{1,3}").all()) else ""


@dataclass(frozen=True, slots=True)
class Part:
    """What one file gives to one stream.

    Attributes:
        frame: its rows, with the stream's columns; None where the file stops the stream.
        worn: intervals with valid samples, or None where the stream was not sampled.
        worn_as_written: True where these intervals are what the file holds, not derived.
        unzoned: True where some time had neither offset nor zone.
        person: whom the file names as the one whose records these are, or an empty text.
    """

    stream: str
    frame: pd.DataFrame | None
    worn: pd.DataFrame | None = None
    unzoned: bool = False
    person: str = ""
    worn_as_written: bool = False


def read_part(table: RawTable, source: Source, zone: str | None, findings: Findings) -> Part:
    """Read one file as one stream.

    Args:
        table: the rows of the file.
        source: how its columns map to those of the stream.
        zone: the zone of times without an offset, or None.
        findings: gets what is noticed.

    Raises:
        MinerError: the mapping cannot be used.
    """
    zone = source.time_zone or zone
    wanted = _wanted(table, source, findings)
    used = table.keep(wanted)
    person = person_of(used, source, findings)
    if person is None:
        return Part(source.stream, None)
    if lost_decimals(used, source, findings):
        return Part(source.stream, None)
    used = doubt_thousands(used, source, findings)
    part = replace(_part(used, source, zone, findings), person=person)
    if source.stream == "activity" and not (source.worn or wanted.all()):
        return _worn_beside(part, table.keep(~wanted), source, zone, findings)
    return part


def _worn_beside(
    part: Part, others: RawTable, source: Source, zone: str | None, findings: Findings
) -> Part:
    """Return what a file of blocks gives, worn also while the rows were written that it leaves.

    A row with nothing in a column of ``where``, or a word that is not measured, shows no wear.
    """
    told = np.ones(len(others.rows), dtype=bool)
    for column in source.where:
        told &= (others.text(column) != "").to_numpy()
    others = others.keep(told)
    rest = _part(others, source, zone, replace(findings, items=[]))
    if not len(others.rows) or rest.frame is None or part.frame is None:
        return part
    if source.episodes:
        pieces = [each for each in (part.worn, rest.worn) if each is not None]
        return replace(part, worn=pd.concat(pieces, ignore_index=True))
    both = pd.concat([part.frame, rest.frame], ignore_index=True)
    return replace(part, worn=rows_worn(both))


def _part(table: RawTable, source: Source, zone: str | None, findings: Findings) -> Part:
    placed = place_rows(table, source, zone, findings)
    if placed is None:
        return Part(source.stream, None)
    if source.episodes:
        frame, worn = sampled(placed, source, zone, findings)
        return Part(source.stream, frame, worn, placed.unzoned)
    if source.worn:
        worn = _worn(placed, findings)
        return Part(source.stream, empty(source.stream), worn, placed.unzoned, worn_as_written=True)
    if source.stream == "glucose":
        values = read_glucose(placed.table, source, findings)
        if values is None:
            return Part("glucose", None)
        frame = _framed(placed, "glucose", values)
        known = frame.pop("has_value")
        return Part("glucose", frame if known.all() else frame[known], None, placed.unzoned)
    frame = _records(placed, source, findings)
    on = rows_worn(frame) if source.stream == "activity" else None
    return Part(source.stream, frame, on, placed.unzoned)


def _worn(placed: PlacedRows, findings: Findings) -> pd.DataFrame:
    """Return the intervals in which a tracker measured, however long, as the file gives them."""
    columns = (placed.start, placed.end, placed.start_clock, placed.end_clock)
    worn = pd.DataFrame(dict(zip(INTERVAL, columns, strict=True)))
    forward = (worn["start"] < worn["end"]).to_numpy()
    findings.cells(Severity.LEFT_OUT, "wear_without_end", placed.table, ~forward)
    return worn[forward].reset_index(drop=True)


def _wanted(table: RawTable, source: Source, findings: Findings) -> NDArray[np.bool_]:
    keep = np.ones(len(table.rows), dtype=bool)
    for column, wanted in source.where.items():
        words = table.text(column)
        for word in wanted:
            if len(words) and not (words == word).any():
                findings.add(
                    Severity.QUESTION,
                    "word_of_where_not_there",
                    file=table.file,
                    values={"word": word, "column": column},
                )
        keep &= words.isin(wanted).to_numpy()
    return keep


def _framed(placed: PlacedRows, stream: str, values: Mapping[str, Any]) -> pd.DataFrame:
    time, clock = _names(stream)
    times = {time: placed.start, clock: placed.start_clock}
    place = {"file": repeated(placed.table.file, len(placed.start)), "row": placed.table.rows}
    return pd.DataFrame(times | dict(values) | place)


def _records(placed: PlacedRows, source: Source, findings: Findings) -> pd.DataFrame:
    spec = COLUMNS[source.stream]
    table = placed.table
    values: dict[str, Any] = {}
    given = {*source.columns, *source.constants}
    size = len(table.rows)
    for name in spec.numbers:
        known = name in given
        values[name] = (
            read_numbers(table, source, name, findings) if known else np.full(size, np.nan)
        )
    for name in (*spec.texts, *spec.choices):
        if name not in given:
            values[name] = repeated("", size)
        elif name in spec.choices:
            values[name] = read_choice(table, source, name, spec.choices[name], findings)
        else:
            values[name] = read_words(table, source, name)
    frame = _framed(placed, source.stream, values).assign(left_out="")
    if spec.interval:
        end = placed.start if placed.end is None else placed.end
        end_clock = placed.start_clock if placed.end_clock is None else placed.end_clock
        frame = _ended(frame.assign(end=end, end_clock=end_clock))
        frame = _checked_interval(frame, table, source.stream, findings)
    if source.stream == "meals":
        frame["left_out"] = frame["left_out"].mask(placed.date_only, NO_TIME)
    if source.stream == "stress" and "level" in source.columns:
        unread = frame["level"].isna() & (table.text(source.columns["level"]) != "").to_numpy()
        frame["left_out"] = frame["left_out"].mask(unread & (frame["left_out"] == ""), NO_LEVEL)
    if source.stream == "tags":
        frame["date_only"] = placed.date_only
    if source.stream == "activity":
        frame["kind"] = frame["kind"].mask(frame["kind"].isin(STILL_KINDS), STILL)
    return _completed(frame.assign(twin=_twins(frame, table)), table, source, findings)


def _twins(frame: pd.DataFrame, table: RawTable) -> NDArray[np.uint64]:
    twins = np.zeros(len(frame), dtype=np.uint64)
    if frame.iloc[:, 0].is_unique:
        return twins
    content = frame.columns.difference(["file", "row", "left_out"])
    alike = frame.duplicated(list(content), keep=False).to_numpy()
    if alike.any():
        twins[alike] = pd.util.hash_pandas_object(table.cells[alike], index=False)
    return twins


def _names(stream: str) -> tuple[str, str]:
    return ("start", "start_clock") if COLUMNS[stream].interval else ("time", "clock")


def _ended(frame: pd.DataFrame) -> pd.DataFrame:
    """Leave out the rows without an end; the finding was reported where the end was read."""
    lost = frame["end"].isna()
    if not lost.any():
        return frame
    frame.loc[lost, "left_out"] = NO_END
    for end, start in (("end", "start"), ("end_clock", "start_clock")):
        frame[end] = frame[end].where(~lost, frame[start])
    return frame


def _checked_interval(
    frame: pd.DataFrame, table: RawTable, stream: str, findings: Findings
) -> pd.DataFrame:
    backwards = (frame["end"] < frame["start"]).to_numpy()
    long = (frame["end"] - frame["start"] > pd.Timedelta(hours=24)).to_numpy(copy=True)
    long &= stream != "tags"
    for mask, code, reason in (
        (backwards, "end_before_start", BACKWARDS),
        (long, "longer_than_a_day", TOO_LONG),
    ):
        spans = frame.loc[mask, ["start_clock", "end_clock"]].itertuples(index=False)
        shown = [f"{a:%Y-%m-%d %H:%M} to {b:%Y-%m-%d %H:%M}" for a, b in spans]
        findings.cells(Severity.LEFT_OUT, code, table, mask, shown=shown)
        frame.loc[mask & blank(frame["left_out"]), "left_out"] = reason
    return frame


def _completed(
    frame: pd.DataFrame, table: RawTable, source: Source, findings: Findings
) -> pd.DataFrame:
    if source.stream == "sleep" and frame["asleep_min"].isna().any():
        stages = frame["deep_min"] + frame["rem_min"] + frame["light_min"]
        frame["asleep_min"] = frame["asleep_min"].fillna(stages)
    if source.stream != "tags":
        return frame
    blank = (frame["tag"] == "").to_numpy()
    findings.cells(Severity.LEFT_OUT, "row_without_tag", table, blank)
    return frame[~blank].reset_index(drop=True)


def read_file(found: FoundFile, raw: bytes, settings: Settings, findings: Findings) -> Part:
    """Read one file as the stream it feeds.

    Raises:
        MinerError: it cannot be read as that.
    """
    source = found.source
    if source is None:
        text = open_text(found.name, raw, encoding=None, delimiter=",", skip_rows=0)
    else:
        text, source = open_file(found.name, raw, source, findings)
    if text is None:
        findings.add(Severity.NOTE, "file_is_empty", file=found.name, stream=found.stream)
        return Part(found.stream, empty(found.stream))
    if source is None:
        source = canonical(found.name, found.stream, list(text.header), settings.time_zone)
        check_header(text, source, _needed(found.stream, source))
        _tell_extra(found.name, text.header, source, findings)
    check_header(text, source, source.needed)
    table = read_rows(text, source, findings)
    code = "header_and_no_rows"
    if len(table.rows):
        table = _own_rows(table, source, found.beside)
        code = "no_row_of_stream"
    if len(table.rows) == 0:
        findings.add(Severity.NOTE, code, file=found.name, stream=found.stream)
        return Part(found.stream, empty(found.stream))
    return read_part(with_time_of_day(table, source), source, settings.time_zone, findings)


def read_added(
    table: RawTable,
    stream: str,
    findings: Findings,
    *,
    glucose: pd.DataFrame,
    zone: str | None,
    by_clock: bool,
) -> pd.DataFrame:
    """Read records of the file of corrections as rows of a stream; only what can be used.

    Args:
        table: its rows.
        stream: meals or tags.
        findings: gets what cannot be used.
        glucose: the readings, near whose dates the records must be.
        zone: the client's zone, or None.
        by_clock: whether the client's times are what the clock showed, without a zone.
    """
    source = canonical(table.file, stream, list(map(str, table.cells.columns)), zone)
    part = read_part(table, source, zone, findings)
    if part.frame is None:
        return empty(stream)[columns_of(stream)]
    frame = part.frame[columns_of(stream)]
    if by_clock:
        clocks = {"time": "clock", "start": "start_clock", "end": "end_clock"}
        pairs = {name: frame[clock] for name, clock in clocks.items() if name in frame}
        frame = frame.assign(**pairs)
    elif zone is None and (glucose["time"] != glucose["clock"]).any():
        first = "start" if COLUMNS[stream].interval else "time"
        offset = table.text(first).str.contains(r"(?:[+-]\d\d:\d\d|[Zz])$")
        lost = frame["row"].isin(table.rows[~offset])
        findings.rows(Severity.LEFT_OUT, "correction_without_offset", at=frame[lost])
        frame = frame[~lost]
    near = without_impossible_dates({"glucose": glucose, stream: frame}, findings)[stream]
    return near[near["left_out"] == ""]


def _own_rows(table: RawTable, source: Source, beside: tuple[Source, ...]) -> RawTable:
    """Return the rows that are of this stream, where a file feeds several.

    A row is, where it has one of the columns that no other mapping of the file names.
    """
    others = {column for entry in beside for column in entry.needed}
    own = [column for column in source.needed if column not in others]
    if not beside or not own:
        return table
    written = np.zeros(len(table.rows), dtype=bool)
    for column in own:
        written |= (table.text(column) != "").to_numpy()
    return table.keep(written)


def _needed(stream: str, source: Source) -> tuple[str, ...]:
    spec = COLUMNS[stream]
    if stream == "tags":
        times: tuple[str, ...] = ("start",) if "start" in source.columns else ("time",)
    else:
        times = spec.times
    if stream != "glucose":
        return (*times, *spec.needed)
    value = "glucose_mmol_l" if "glucose_mmol_l" in source.columns else "glucose_mg_dl"
    return (*times, value)


def _tell_extra(name: str, header: tuple[str, ...], source: Source, findings: Findings) -> None:
    extra = [column for column in header if column and column not in source.columns]
    if extra:
        findings.add(
            Severity.NOTE,
            "columns_not_used" if len(extra) <= MOST_NAMES else "many_columns_not_used",
            file=name,
            row=1,
            count=len(extra),
            values={"columns": extra[:MOST_NAMES], "of": source.stream},
        )
