"""Pooled fits kept in the work folder, so that what has not changed is not fitted again."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np

from miner.caseload.fitting import HabitFit, PooledQuestion
from miner.caseload.question import OwnSlopes, PoolFit
from miner.caseload.store import POOLED, Store
from miner.core.results import Doubt, DoubtCode, Shape
from miner.core.results.caseload import Estimate
from miner.stats.pooling_own import SlopesOnGrid
from miner.stats.shrunken_slopes import ShrunkenSlopes

ON_GRID = ("slopes", "errors", "likelihoods")
ARRAYS = ("slopes", "standard_errors", "intervals")


class KeptFits:
    """The fits of one pool, a file a question.

    Args:
        store: the work folder; the fits of any other pool in it are removed.
        rests_on: everything the fits rest on: program, rule books, units.
    """

    def __init__(self, store: Store, rests_on: tuple[str | int, ...]) -> None:
        key = hashlib.sha256(repr(rests_on).encode()).hexdigest()[:32]
        self._store, self._key = store, key
        home = store.folder / POOLED
        for path in sorted(home.iterdir()) if home.is_dir() else ():
            if path.name != key:
                shutil.rmtree(path) if path.is_dir() else path.unlink()

    def fit(self, question: PooledQuestion) -> tuple[HabitFit | None] | None:
        """Return what ``fit_task`` found of a question, alone in a tuple; None if not kept."""
        try:
            raw = self._store.read_json(self._name(question, "fit"))["fit"]
            return (None if raw is None else _habit(raw),)
        except (TypeError, KeyError, ValueError):
            return None

    def keep_fit(self, question: PooledQuestion, fit: HabitFit | None) -> None:
        """Keep it."""
        found = {"fit": None if fit is None else _of_habit(fit)}
        self._write(self._name(question, "fit"), found)

    def doubts(self, question: PooledQuestion) -> tuple[Doubt, ...] | None:
        """Return why a difference that passes is a hint all the same; None if not kept."""
        raw = self._store.read_json(self._name(question, "doubts"))
        try:
            return tuple(Doubt(**item | {"code": DoubtCode(item["code"])}) for item in raw)
        except (TypeError, KeyError, ValueError):
            return None

    def keep_doubts(self, question: PooledQuestion, doubts: tuple[Doubt, ...]) -> None:
        """Keep them."""
        self._write(self._name(question, "doubts"), [doubt.to_dict() for doubt in doubts])

    def _name(self, question: PooledQuestion, what: str) -> str:
        asked = repr((question.factor, question.lag, question.outcome)).encode()
        return f"{POOLED}/{self._key}/{hashlib.sha256(asked).hexdigest()[:32]}-{what}.json"

    def _write(self, name: str, found: Any) -> None:
        self._store.write(name, json.dumps(found).encode())


def _of_habit(habit: HabitFit) -> dict[str, Any]:
    return {
        "fits": {str(shape): _plain(fit) for shape, fit in habit.fits.items()},
        "units": {str(shape): count for shape, count in habit.units.items()},
        "span": habit.span,
        "along": habit.along,
    }


def _habit(raw: Mapping[str, Any]) -> HabitFit:
    fits = {Shape(shape): _fit(fit) for shape, fit in raw["fits"].items()}
    units = {Shape(shape): int(count) for shape, count in raw["units"].items()}
    return HabitFit(fits, units, float(raw["span"]), float(raw["along"]))


def _plain(fit: PoolFit) -> dict[str, Any]:
    own = fit.shrunken
    listed = own is not None
    return {
        "reml": fit.reml.to_dict(),
        "two_stage": fit.two_stage.to_dict(),
        "between": None if fit.between is None else fit.between.to_dict(),
        "phi": fit.phi,
        "clients": fit.clients.tolist() if listed else [],
        "raw": fit.raw.tolist() if listed else [],
        "shrunken": None
        if own is None
        else {"problem": own.problem, "names": own.names.tolist()}
        | {name: getattr(own, name).tolist() for name in ARRAYS},
        "own": {"clients": fit.own.clients.tolist(), "spans": fit.own.spans.tolist()}
        | {name: getattr(fit.own.on_grid, name).tolist() for name in ON_GRID},
    }


def _fit(raw: Mapping[str, Any]) -> PoolFit:
    own, between = raw["shrunken"], raw["between"]
    return PoolFit(
        reml=_estimate(raw["reml"]),
        two_stage=_estimate(raw["two_stage"]),
        between=None if between is None else _estimate(between),
        phi=None if raw["phi"] is None else float(raw["phi"]),
        clients=np.asarray(raw["clients"], dtype=np.intp),
        raw=np.asarray(raw["raw"], dtype=float),
        shrunken=None if own is None else _slopes(own),
        own=OwnSlopes(
            np.asarray(raw["own"]["clients"], dtype=np.intp),
            SlopesOnGrid(*(np.asarray(raw["own"][name], dtype=float) for name in ON_GRID)),
            np.asarray(raw["own"]["spans"], dtype=float),
        ),
    )


def _estimate(raw: Mapping[str, Any]) -> Estimate:
    values = {item.name: raw[item.name] for item in fields(Estimate)}
    interval = values["interval"]
    return Estimate(**values | {"interval": None if interval is None else tuple(interval)})


def _slopes(raw: Mapping[str, Any]) -> ShrunkenSlopes:
    arrays = {name: np.asarray(raw[name], dtype=float) for name in ARRAYS}
    arrays["intervals"] = arrays["intervals"].reshape(-1, 2)
    return ShrunkenSlopes(names=np.asarray(raw["names"]), problem=str(raw["problem"]), **arrays)
