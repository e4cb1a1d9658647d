"""One client's sensor and range: when a new one was put on, lows that were pressure, days off."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

import tomlkit
from starlette.responses import Response
from tomlkit import TOMLDocument
from tomlkit.items import AoT, Array

from miner.core.messages import MinerError, message
from miner.page.render import page
from miner.page.request import PageRequest
from miner.records.read.settings import WEEK_DAYS, ClientFile, read_settings
from miner.records.read.toml_file import read_toml
from miner.records.write.settings_file import change, set_key, stamp
from miner.words.amounts import MG_DL_PER_MMOL_L

NAME = "client.toml"
EMPTY_ROWS = 2
MOST_ROWS = 200
DAY_NAMES = dict(zip(WEEK_DAYS, ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"), strict=True))


def show(request: PageRequest) -> Response:
    """Show what is known of the client's sensor, range and days off."""
    path, unit = request.folder / NAME, _unit(request)
    held = read_toml(path, ClientFile)
    return page(
        request,
        "wearing.html",
        client=held.code or request.code,
        seen=stamp(path),
        unit=unit,
        changes=[*_told(held.sensor_changes), *[""] * EMPTY_ROWS],
        lows=[
            *((low.start.isoformat(), low.end.isoformat()) for low in held.pressure_lows),
            *[("", "")] * EMPTY_ROWS,
        ],
        range=_range(held, unit),
        days=DAY_NAMES,
        rest=held.rest_days,
        dates=[day for day in held.rest_days if day not in WEEK_DAYS],
    )


def save(request: PageRequest) -> Response:
    """Write what changed into ``client.toml``: all of it, or nothing."""
    path, unit = request.folder / NAME, _unit(request)
    held = read_toml(path, ClientFile)
    changes = sorted({_moment(text) for text in _filled(request, "sensor_change")}, key=str)
    lows = _lows(request)
    rest = [day for day in WEEK_DAYS if day in request.texts("rest")]
    rest += [day for day in held.rest_days if day not in WEEK_DAYS]
    ends = (request.text("low"), request.text("high"))

    def edit(document: TOMLDocument) -> None:
        if set(changes) != set(held.sensor_changes):
            set_key(document, "sensor_changes", _listed(changes) if changes else None)
        if set(rest) != set(held.rest_days):
            set_key(document, "rest_days", rest)
        if ends != _range(held, unit):
            set_key(document, "range", [_mg_dl(end, unit) for end in ends])
        if lows != [(low.start, low.end) for low in held.pressure_lows]:
            document.pop("pressure_lows", None)
            if lows:
                document["pressure_lows"] = _tables(lows)

    change(path, ClientFile, edit, request.seen)
    return request.go(request.at("settings"), message("page.wearing_written"))


def _unit(request: PageRequest) -> str:
    return read_settings(request.folder, request.state.practice).display_unit


def _told(moments: Sequence[datetime]) -> list[str]:
    return [moment.isoformat() for moment in moments]


def _range(held: ClientFile, unit: str) -> tuple[str, str]:
    low, high = held.range
    if unit == "mmol/L":
        return f"{low / MG_DL_PER_MMOL_L:.1f}", f"{high / MG_DL_PER_MMOL_L:.1f}"
    return f"{low:g}", f"{high:g}"


def _mg_dl(text: str, unit: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError as error:
        raise MinerError("page.glucose_not_a_number", text=text[:20], unit=unit) from error
    found = round(value * MG_DL_PER_MMOL_L, 1) if unit == "mmol/L" else value
    return int(found) if found == found // 1 else found


def _filled(request: PageRequest, name: str) -> list[str]:
    return [text.strip() for text in request.texts(name) if text.strip()][:MOST_ROWS]


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError as error:
        raise MinerError("page.no_date_and_time", text=text[:40]) from error


def _lows(request: PageRequest) -> list[tuple[datetime, datetime]]:
    pairs = zip(request.texts("low_start"), request.texts("low_end"), strict=False)
    filled = [(start.strip(), end.strip()) for start, end in pairs if start.strip() or end.strip()]
    return [(_moment(start), _moment(end)) for start, end in filled[:MOST_ROWS]]


def _listed(moments: Sequence[date]) -> Array:
    array = tomlkit.array()
    array.extend(moments)
    return array.multiline(len(moments) > 1)


def _tables(lows: Sequence[tuple[datetime, datetime]]) -> AoT:
    tables = tomlkit.aot()
    for start, end in lows:
        table = tomlkit.table()
        table["start"], table["end"] = start, end
        tables.append(table)
    return tables
