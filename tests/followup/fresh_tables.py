"""Small unit tables and kept hypotheses for the tests of this folder."""

import numpy as np

from benchmarks.calibration.worlds import WORLDS, month
from miner.ledger import Event, Kept, KeptEntry


def table_of(rules, days=90, seed=1, world="independent", shift=0.0, **more):
    return month(
        WORLDS[world], rules, days=days, factors=6, seed=seed, shift=shift,
        outcomes=("minutes_above", "wake_glucose"), **more,
    ).table  # fmt: skip


def what(factor="late_dinner", outcome="minutes_above", **more):
    return {
        "id": "aaaaaaaa", "as": "watch", "factors": [factor], "lag_days": [0],
        "outcome": outcome, "unit_of": "day", "direction": "up", "expected": 40.0,
        "smallest_worth_it": 20.0, "wobble": 40.0, "standard_error": 12.0, "units": 40, "with": 12,
        "suggested_by_days_to": "2026-03-31", "read_on": "2026-05-01", "definitions": {},
    } | more  # fmt: skip


def idea(*args, **more):
    return KeptEntry.read(what(*args, **more))


def event(n, name, trusted=True, **payload):
    return Event(n, f"2026-03-{n:02d}T08:00:00+00:00", name, payload, n, "", "", trusted)


def kept(n=1, **more):
    return Kept(event(n, "kept", **what(**more)))


def row_date(table, at):
    return str(table.frame["date"].iloc[at])


def gls(y, x, nuisance, times, phi, w):
    """Slope and standard error of x by generalised least squares, from the formula."""
    v = w * phi ** np.abs(times[:, None] - times[None, :])
    np.fill_diagonal(v, 1.0)
    inverse = np.linalg.inv(v)
    design = np.column_stack([x, nuisance])
    inner = np.linalg.inv(design.T @ inverse @ design)
    beta = inner @ design.T @ inverse @ y
    left = y - design @ beta
    scale = left @ inverse @ left / (len(y) - design.shape[1])
    return beta[0], np.sqrt(scale * inner[0, 0])
