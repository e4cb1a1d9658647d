"""Proposes the columns of a glucose file: the readings, their unit, the sensor."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from miner.records.glucose_units import LEAST_MG_DL, MOST_MMOL_L
from miner.records.proposing.cells import Column, propose_not_measured
from miner.records.proposing.notes import Notes
from miner.records.proposing.streams import glucose_columns
from miner.records.proposing.times import TimeColumns, map_moment
from miner.records.proposing.words import glucose_unit

_COLUMN = {"mg/dL": "glucose_mg_dl", "mmol/L": "glucose_mmol_l"}
_SERIAL = frozenset({"id", "serial", "sn", "number", "name"})
_MOST_SENSORS = 60


def propose_glucose(columns: Sequence[Column], times: TimeColumns, notes: Notes) -> None:
    """Map the columns of a glucose file."""
    map_moment(times, notes)
    among = glucose_columns(columns)
    if len(among) != 1:
        options = tuple(f'glucose_... = "{each.name}"' for each in among)
        told = f"{len(among)} columns may hold the readings"
        notes.leave("columns.glucose_mg_dl or columns.glucose_mmol_l", told, options, needed=True)
    else:
        _map_readings(among[0], notes)
    _map_sensor(columns, notes)


def _map_readings(column: Column, notes: Notes) -> None:
    unit, reason = _unit(column)
    if unit is None:
        options = tuple(f'{key} = "{column.name}"' for key in _COLUMN.values())
        notes.leave("columns.glucose_mg_dl or columns.glucose_mmol_l", reason, options, needed=True)
    else:
        notes.map(_COLUMN[unit], column.name, reason)
    propose_not_measured(column, notes)


def _unit(column: Column) -> tuple[str | None, str]:
    said = glucose_unit(column.words)
    positive = column.values[column.values > 0]
    if not positive.size:
        return said, "no value is above 0" + (f"; the name says {said}" if said else "")
    middle = float(np.median(positive))
    if middle < LEAST_MG_DL:
        held, told = "mmol/L", f"half of the values are below {middle:g}, which cannot be mg/dL"
    elif middle > MOST_MMOL_L:
        held, told = "mg/dL", f"half of the values are above {middle:g}, which cannot be mmol/L"
    else:
        return said, f"the middle value is {middle:g}; " + (
            f"the name '{column.name}' says {said}" if said else "it may be mg/dL or mmol/L"
        )
    if said is not None and said != held:
        return None, f"the name '{column.name}' says {said}, and {told}"
    return held, told + (f", and the name says {said}" if said else "")


def _map_sensor(columns: Sequence[Column], notes: Notes) -> None:
    found = [
        each
        for each in columns
        if "sensor" in each.words and each.has(_SERIAL) and each.written is None and not each.blank
    ]
    if len(found) != 1:
        return
    different = found[0].text[found[0].text != ""].nunique()
    if different <= min(_MOST_SENSORS, max(1, len(found[0].text) // 20)):
        notes.map("sensor", found[0].name, f"it names the sensor ({different} of them)")
