"""Reads one client folder: each file, placed and checked, as six streams."""

from __future__ import annotations

import hashlib
import os
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from miner.core.messages import MinerError, Severity
from miner.records.check.clocks import ask_about_order, odd_clocks
from miner.records.check.cross_checks import hold_together
from miner.records.check.one_person import ask_about_others
from miner.records.check.overlaps import join_files, once
from miner.records.check.plausible import (
    never_varies,
    plausible_activity,
    plausible_meals,
    without_impossible_dates,
)
from miner.records.check.plausible_sleep import plausible_sleep
from miner.records.check.sensor import look, suspect_pressure
from miner.records.client import STREAMS, Client, Settings
from miner.records.columns import STILL, empty
from miner.records.findings import Findings
from miner.records.place.gaps import join
from miner.records.place.samples import INTERVAL
from miner.records.read.discover import STANDARD, FoundFile, find_files, practice_of
from miner.records.read.files import read_bytes
from miner.records.read.packed import LARGEST_BYTES
from miner.records.read.settings import read_settings
from miner.records.standards import read_standard
from miner.records.stream_file import Part, read_added, read_file, read_part
from miner.records.synonyms import spelt_alike
from miner.records.write.corrections import correct, read_corrections

LEFT_OUT_FILE = "file_left_out"
MOST_ROWS = 10_000_000
"""The most rows of all files together: they are held in memory at one time."""


def read_client(folder: Path | str, *, practice: Path | str | None = None) -> Client:
    """Read and check everything in one client folder; nothing in it is written.

    Args:
        folder: the client's folder.
        practice: the folder with ``practice.toml`` and ``sources.toml``; by default the parent
            of the client's folder where it holds one of them.

    Returns:
        The six streams with what was found on the way. Where the unit of a file or its times
        cannot be right the stream is empty and a finding says stop.

    Raises:
        MinerError: the folder or a file cannot be used as it is.

    Example:
        >>> client = read_client("practice/client-07")  # doctest: +SKIP
        >>> client.used("glucose")["glucose"].median()  # doctest: +SKIP
        112.0
    """
    folder = Path(folder)
    findings = Findings()
    shared = practice_of(folder, None if practice is None else Path(practice))
    files = find_files(folder, shared, findings)
    settings = read_settings(folder, shared)
    _refuse_too_much(folder, files)
    digest = hashlib.sha256()
    parts: list[Part] = []
    raws: dict[Path, bytes] = {}
    lost: list[MinerError] = []
    for found in files:
        try:
            if found.path not in raws:
                raws[found.path] = read_bytes(found.path, found.name)
                name = os.fsencode(found.path.relative_to(folder))
                for piece in (name, b"\0", raws[found.path], b"\0"):
                    digest.update(piece)
            parts += _parts_of(found, raws[found.path], settings, findings)
        except MinerError as error:
            if found.stream == "glucose":
                raise
            if found.stream == STANDARD:
                lost.append(error)
            stream, why = _stream_of(found), {"why": error.as_message()}
            about = {"file": error.file, "row": error.row, "stream": stream, "values": why}
            findings.add(Severity.LEFT_OUT, LEFT_OUT_FILE, **about)
        _refuse_too_many(folder, parts)
    if lost and not any(part.stream == "glucose" for part in parts):
        raise lost[0]
    for path in (folder / "sources.toml", *([shared / "sources.toml"] if shared else [])):
        digest.update(path.read_bytes() if path.is_file() else b"\0")
    return _client(folder, settings, parts, findings, digest.hexdigest()[:16])


def _parts_of(found: FoundFile, raw: bytes, settings: Settings, findings: Findings) -> list[Part]:
    """Return what a file gives to its streams; of what is not glucose a fault leaves it out."""
    own = Findings()
    parts = parts_of(found, raw, settings, own)
    kept = [part for part in parts if part.frame is not None or part.stream == "glucose"]
    for item in own.items:
        if item.severity is Severity.STOP and len(kept) < len(parts):
            told_as = item.told_as or item.code
            item = replace(item, severity=Severity.LEFT_OUT, code=LEFT_OUT_FILE, told_as=told_as)
        findings.items.append(replace(item, stream=item.stream or _stream_of(found)))
    return kept


def parts_of(found: FoundFile, raw: bytes, settings: Settings, findings: Findings) -> list[Part]:
    """Read one file as each stream that it feeds.

    Raises:
        MinerError: it cannot be read as that.
    """
    if found.stream != STANDARD:
        return [read_file(found, raw, settings, findings)]
    zone = settings.time_zone
    read = read_standard(found.name, raw, zone, findings)
    if read is None:
        return [Part("glucose", None)]
    parts = [read_part(table, source, zone, findings) for table, source in read[1]]
    return [replace(part, person=read[0]) for part in parts] or [Part("glucose", empty("glucose"))]


def _stream_of(found: FoundFile) -> str:
    return "" if found.stream == STANDARD else found.stream


def _refuse_too_much(folder: Path, files: list[FoundFile]) -> None:
    size = sum(path.stat().st_size for path in {item.path for item in files} if path.is_file())
    if size > LARGEST_BYTES:
        most = LARGEST_BYTES / 1e6
        raise MinerError("records.files_too_large", file=folder, size=size / 1e6, most=most)


def _refuse_too_many(folder: Path, parts: list[Part]) -> None:
    rows = sum(len(part.frame) for part in parts if part.frame is not None)
    if rows > MOST_ROWS:
        raise MinerError("records.too_many_rows", file=folder, rows=rows, most=MOST_ROWS)


def _client(
    folder: Path, settings: Settings, parts: list[Part], findings: Findings, digest: str
) -> Client:
    stopped = {part.stream for part in parts if part.frame is None}
    own = _on_one_time_line([part for part in parts if part.stream not in stopped], findings)
    parts.clear()  # no row is held twice once the files are joined
    named = [
        (part.stream, str(part.frame["file"].iloc[0]), part.person)
        for part in own
        if part.person and part.frame is not None and not part.frame.empty
    ]
    ask_about_others(named, findings)
    joined = without_impossible_dates(_joined(own), findings)
    streams = {name: once(name, frame, findings) for name, frame in joined.items()}
    if streams["glucose"].empty and "glucose" not in stopped:
        left_out = [each for each in findings.sorted() if each.severity is Severity.LEFT_OUT]
        if not left_out:
            raise MinerError("records.no_glucose_reading", file=folder)
        first = left_out[0]
        raise MinerError(
            "records.no_glucose_reading_left_out",
            file=folder,
            name=first.file,
            at=first.row,
            first=first.as_message(),
        )
    streams["glucose"] = look(streams["glucose"], settings, findings)
    zone, by_clock = settings.time_zone, any(part.unzoned for part in own)
    read = partial(read_added, glucose=streams["glucose"], zone=zone, by_clock=by_clock)
    corrections = read_corrections(folder, findings)
    seen = dict(streams)
    if corrections:
        seen["meals"] = _plausible_meals(streams["meals"], Findings())
    known = {name: frame for name, frame in seen.items() if name not in stopped}
    corrected = correct(known, corrections, read, findings)
    if corrected.done:
        written = streams["meals"]
        streams |= corrected.streams
        streams["meals"] = _as_written(streams["meals"], written)
        digest = hashlib.sha256("\n".join([digest, *corrected.done]).encode()).hexdigest()[:16]
    noted = streams["tags"]["tag"]
    tag = noted.replace(dict(settings.synonyms)) if settings.synonyms else noted
    streams["tags"] = streams["tags"].assign(noted=noted, tag=tag)
    streams |= _plausible(streams, findings)
    hold_together(streams, findings)
    odd_clocks(streams, findings)
    suspect_pressure(streams["glucose"], streams["sleep"], findings)
    spelt_alike(streams["tags"], findings)
    streams["activity"], worn = tracker_worn(streams["activity"], own, findings)
    hashed = hashlib.sha256(repr(settings).encode()).hexdigest()[:16]
    return Client(
        folder, settings, streams, worn, findings.sorted(), digest, hashed, corrected.replaced
    )


def _joined(parts: list[Part]) -> dict[str, pd.DataFrame]:
    """Return the streams, the rows of their files one after the other; taken from the parts."""
    frames: dict[str, list[pd.DataFrame]] = defaultdict(list)
    for at, part in enumerate(parts):
        if part.frame is not None:
            frames[part.stream].append(part.frame)
        parts[at] = replace(part, frame=None)
    return {name: join_files(name, frames.pop(name, [])) for name in STREAMS}


def _plausible(streams: dict[str, pd.DataFrame], findings: Findings) -> dict[str, pd.DataFrame]:
    """Return the streams without values that contradict others of their row."""
    for name, frame in streams.items():
        ask_about_order(name, frame, findings)
    looked = streams | {
        "sleep": plausible_sleep(streams["sleep"], findings),
        "activity": plausible_activity(streams["activity"], findings),
        "meals": _plausible_meals(streams["meals"], findings),
    }
    return {
        name: never_varies(name, frame, findings) if name != "meals" else frame
        for name, frame in looked.items()
    }


def _plausible_meals(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    return never_varies("meals", plausible_meals(frame, findings), findings)


def _as_written(meals: pd.DataFrame, written: pd.DataFrame) -> pd.DataFrame:
    """Return the meals as corrected, each row of a file as it was written.

    A correction knows a record by what was shown of it, without values in doubt. What it did not
    replace is looked at once more, so that the report leaves out what was mended.
    """
    places = [pd.MultiIndex.from_frame(frame[["file", "row"]]) for frame in (meals, written)]
    both = [written[places[1].isin(places[0])], meals[~places[0].isin(places[1])]]
    return pd.concat(both).sort_values("time", kind="stable", ignore_index=True)


def _on_one_time_line(parts: list[Part], findings: Findings) -> list[Part]:
    if not any(part.unzoned for part in parts):
        return parts
    findings.add(Severity.NOTE, "no_time_zone", file="client.toml")
    return [
        replace(part, frame=_by_the_clock(part.frame), worn=_by_the_clock(part.worn))
        for part in parts
    ]


def _by_the_clock(frame: pd.DataFrame | None) -> pd.DataFrame | None:
    if frame is None:
        return None
    clocks = {"time": "clock", "start": "start_clock", "end": "end_clock"}
    return frame.assign(
        **{time: frame[clock] for time, clock in clocks.items() if time in frame.columns}
    )


def tracker_worn(
    activity: pd.DataFrame, parts: list[Part], findings: Findings
) -> tuple[pd.DataFrame, Mapping[str, pd.DataFrame]]:
    """Return the activity stream and, for every sampled stream, when it was measured.

    A day whose step blocks are all zero, without a valid sample of another stream or a row that
    says "still", is a day on which the tracker was not worn: its blocks are left out and do not
    count as worn. Where a file
    says itself when a stream was measured, nothing is derived from the records next to it.
    """
    written = {part.stream for part in parts if part.worn_as_written}
    pieces: dict[str, list[pd.DataFrame]] = defaultdict(list)
    for part in parts:
        if part.worn is not None and part.worn_as_written == (part.stream in written):
            pieces[part.stream].append(part.worn)
    worn = {name: _united(frames) for name, frames in pieces.items()}
    if "activity" not in worn or activity.empty:
        return activity, worn
    day = activity["start_clock"].dt.normalize()
    moved = activity["steps"].fillna(0) + activity["active_min"].fillna(0)
    still = moved.mask(activity["kind"] == STILL, 1).groupby(day).sum() == 0
    counted = activity["steps"].notna().groupby(day).any()
    others = [frame for name, frame in worn.items() if name != "activity"]
    alive = pd.concat([frame["start_clock"].dt.normalize() for frame in others] or [day.iloc[:0]])
    off = pd.DatetimeIndex(still.index[still & counted & ~still.index.isin(alive)])
    if len(off) == 0:
        return activity, worn
    on_off_day = day.isin(off).to_numpy()
    findings.rows(
        Severity.LEFT_OUT,
        "days_without_a_step",
        at=activity[on_off_day],
        shown=day[on_off_day].dt.strftime("%Y-%m-%d"),
    )
    left_out = activity["left_out"].mask(on_off_day, "tracker_not_worn")
    worn["activity"] = _without_days(worn["activity"], off)
    return activity.assign(left_out=left_out), worn


def _united(frames: list[pd.DataFrame]) -> pd.DataFrame:
    frame = pd.concat(frames, ignore_index=True).sort_values("start", kind="stable")
    run = join(frame["start"].to_numpy(), frame["end"].to_numpy(), np.timedelta64(0, "s"))
    ends = {name: "max" if name.startswith("end") else "min" for name in INTERVAL}
    return frame.groupby(run).agg(ends).reset_index(drop=True)[INTERVAL]


def _without_days(frame: pd.DataFrame, days: pd.DatetimeIndex) -> pd.DataFrame:
    nothing = pd.Timedelta(0)
    for day in days:
        before, later = frame.copy(), frame.copy()
        over = before["end_clock"] - day
        cut = over.where(over > nothing, nothing)
        before["end"], before["end_clock"] = before["end"] - cut, before["end_clock"] - cut
        early = day + pd.Timedelta(days=1) - later["start_clock"]
        add = early.where(early > nothing, nothing)
        later["start"], later["start_clock"] = later["start"] + add, later["start_clock"] + add
        both = pd.concat([before, later], ignore_index=True)
        both = both[both["start_clock"] < both["end_clock"]]
        frame = both.sort_values("start", kind="stable").drop_duplicates().reset_index(drop=True)
    return frame
