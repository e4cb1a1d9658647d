"""One client's sensor and range: when a new one was put on, lows that were pressure, days off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import Response

from miner.core.messages import MinerError, message
from miner.page.render import page
from miner.page.request import PageRequest
from miner.steps.settings import WEEK_DAYS, change_client, client_file, display_unit, stamp
from miner.words.amounts import Amounts, level_typed

if TYPE_CHECKING:
    from miner.records.read.settings import ClientFile

EMPTY_ROWS = 2
MOST_ROWS = 200
RANGE_MG_DL = (20.0, 600.0)
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
        values["range"] = _typed(ends, unit)
    change_client(request.folder, values, request.seen)
    return request.go(request.at("settings"), message("page.wearing_written"))


def _dates(held: ClientFile) -> list[str]:
    return [day for day in held.rest_days if day not in WEEK_DAYS]


def _range(held: ClientFile, unit: str) -> tuple[str, str]:
    low, high = (Amounts(unit).typed_as(end) for end in held.range_used())
    return low, high


def _typed(ends: tuple[str, str], unit: str) -> list[float]:
    """Return both ends of a range in mg/dL, to a tenth.

    Raises:
        MinerError: they are no numbers, clearly of the other unit, or no range.
    """
    low, high = (round(level_typed(end, unit), 1) for end in ends)
    least, most = RANGE_MG_DL
    if not least <= low < high <= most:
        raise MinerError("page.no_range", low=ends[0], high=ends[1], least=least, most=most)
    return [int(end) if end.is_integer() else end for end in (low, high)]
