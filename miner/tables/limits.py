"""Limits in the unit of the file: 140 mg/dL and 7.8 mmol/L are one and the same limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from miner.records.columns import MG_DL_PER_MMOL_L
from miner.tables.clockwork import Floats

Mask = NDArray[np.bool_]

_TINY = 1e-6


def above(ordered: Floats, tenths: Mask, limit: float) -> Mask:
    """Return which readings are above a limit in mg/dL; the limit itself is not."""
    return np.asarray(ordered > _as_shown(tenths, limit) + _TINY, dtype=bool)


def below(ordered: Floats, tenths: Mask, limit: float) -> Mask:
    """Return which readings are below a limit in mg/dL; the limit itself is not."""
    return np.asarray(ordered < _as_shown(tenths, limit) - _TINY, dtype=bool)


def _as_shown(tenths: Mask, limit: float) -> Floats:
    """Return the limit for each reading, to a tenth of a mmol/L where its file is in that unit.

    Source: Battelino et al. 2019, Diabetes Care 42:1593, and the ADA Standards of Care print
    54, 70, 140, 180 and 200 mg/dL as 3.0, 3.9, 7.8, 10.0 and 11.1 mmol/L.
    """
    rounded = round(limit / MG_DL_PER_MMOL_L, 1) * MG_DL_PER_MMOL_L
    return np.where(tenths, rounded, limit)
