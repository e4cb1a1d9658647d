"""One client's sensor and range: when a new one was put on, lows that were pressure, days off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import Response

from miner.core.messages import MinerError, message
from miner.page.render import page
from miner.page.request import PageRequest
from miner.steps.settings import WEEK_DAYS, change_client, client_file, display_unit, stamp
from miner.words.amounts import MG_DL_PER_MMOL_L

if TYPE_CHECKING:
    from miner.records.read.settings import ClientFile

EMPTY_ROWS = 2
MOST_ROWS = 200
DAY_NAMES = {day: day.capitalize() for day in WEEK_DAYS}


def show(request: PageRequest) -> Response:
    """Show what is known of the client's sensor, range and days off."""
    unit, held = display_unit(request.folder), client_file(request.folder)
    lows = [(low.start.isoformat(), low.end.isoformat()) for low in held.pressure_lows]
    return page(
        request,
        "wearing.html",
        client=held.code or request.code,
        seen=stamp(request.folder / "client.toml"),
        unit=unit,
        changes=[*(moment.isoformat() for moment in held.sensor_changes), *[""] * EMPTY_ROWS],
        lows=[*lows, *[("", "")] * EMPTY_ROWS],
        range=_range(held, unit),
        days=DAY_NAMES,
        rest=held.rest_days,
        dates=_dates(held),
    )


def save(request: PageRequest) -> Response:
    """Write what changed into ``client.toml``: all of it, or nothing."""
    unit, held = display_unit(request.folder), client_file(request.folder)
    ends = (request.text("low"), request.text("high"))
    rows = [list(map(str.strip, request.texts(name))) for name in ("low_start", "low_end")]
    lows = [{"start": low[0], "end": low[1]} for low in zip(*rows, strict=False) if any(low)]
    changes = sorted({*filter(None, map(str.strip, request.texts("sensor_change")))})
    values: dict[str, object] = {
        "sensor_changes": changes[:MOST_ROWS] or None,
        "rest_days": [*(day for day in WEEK_DAYS if day in request.texts("rest")), *_dates(held)],
        "pressure_lows": lows[:MOST_ROWS],
    }
    if ends != _range(held, unit):
        values["range"] = [_mg_dl(end, unit) for end in ends]
    change_client(request.folder, values, request.seen)
    return request.go(request.at("settings"), message("page.wearing_written"))


def _dates(held: ClientFile) -> list[str]:
    return [day for day in held.rest_days if day not in WEEK_DAYS]


def _range(held: ClientFile, unit: str) -> tuple[str, str]:
    low, high = held.range_used()
    if unit == "mmol/L":
        return f"{low / MG_DL_PER_MMOL_L:.1f}", f"{high / MG_DL_PER_MMOL_L:.1f}"
    return f"{low:g}", f"{high:g}"


def _mg_dl(text: str, unit: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError as error:
        raise MinerError("page.glucose_not_a_number", text=text[:20], unit=unit) from error
    found = round(value * MG_DL_PER_MMOL_L, 1) if unit == "mmol/L" else value
    return int(found) if found.is_integer() else found
