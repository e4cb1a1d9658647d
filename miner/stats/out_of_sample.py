"""Whether all factors together predict later units better than the average does."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan, sqrt

import numpy as np
from numpy.typing import NDArray

from miner.core.messages import Words, message

Floats = NDArray[np.float64]
PENALTIES = tuple(float(10.0**power) for power in np.arange(-1.0, 5.5, 0.5))


@dataclass(frozen=True, slots=True)
class OutOfSample:
    """How well held-out units were predicted from the units before them.

    Attributes:
        folds: parts of the record that were held back, one after the other.
        units_held_back: units in them.
        mse_model: mean squared error of the model, in the outcome's unit squared.
        mse_average: the same of the average of the units before.
        skill: 1 - mse_model / mse_average: 1 is perfect, 0 no better than the average.
        gain: mean over held-out units of the average's squared error less the model's.
        gain_se: its standard error, the held-out units taken as independent.
        nearer: held-out units that the model predicted better than the average did.
        reason: "" or why the numbers are undefined.
    """

    folds: int
    units_held_back: int
    mse_model: float
    mse_average: float
    skill: float
    gain: float
    gain_se: float
    nearer: int
    reason: Words


def out_of_sample(
    outcome: Floats,
    factors: Floats,
    folds: int = 5,
    first: int = 14,
    penalties: tuple[float, ...] = PENALTIES,
) -> OutOfSample:
    """Foretell each later part of a record from everything before it, by ridge regression.

    In each fold the factors are filled in with their mean and put on one scale, and the penalty
    is chosen by leaving out one unit at a time, all within the units before the part held back.
    Units in which the outcome is not known are left out.

    Args:
        outcome: shape (units,), in time order, any unit; NaN is unknown.
        factors: shape (units, factors), NaN is unknown.
        folds: parts of equal length to hold back, the last ones of the record; at least 2.
        first: the fewest units before the first part held back.
        penalties: ridge penalties to choose from, of factors scaled to a variance of 1.

    Returns:
        The comparison; undefined, with the reason, where there are no factors, none that varies
        before the last part, or fewer than ``first + folds`` known units.

    Source: Hoerl and Kennard 1970, Technometrics 12:55-67; Bergmeir and Benitez 2012, Inf Sci
    191:192-213 (evaluation in time order).
    """
    known = np.isfinite(outcome)
    y, x = outcome[known], factors[known]
    if x.shape[1] == 0:
        return _undefined("no_factors")
    if y.size < first + folds:
        return _undefined("too_few_known", n=y.size, need=first + folds)
    size = (y.size - first) // folds
    if not _varies(x[: y.size - size]).any():
        return _undefined("no_factor_varies")
    model_errors, average_errors = [], []
    for start in range(y.size - folds * size, y.size, size):
        before, held_out = slice(start), slice(start, start + size)
        predicted = _ridge(x[before], y[before], x[held_out], penalties)
        model_errors.append((y[held_out] - predicted) ** 2)
        average_errors.append((y[held_out] - y[before].mean()) ** 2)
    return _compared(folds, np.concatenate(model_errors), np.concatenate(average_errors))


def _varies(factors: Floats) -> NDArray[np.bool_]:
    low = np.where(np.isnan(factors), np.inf, factors).min(axis=0)
    high = np.where(np.isnan(factors), -np.inf, factors).max(axis=0)
    return np.asarray(low < high)


def _ridge(x: Floats, y: Floats, later: Floats, penalties: tuple[float, ...]) -> Floats:
    """Return what a ridge on known units predicts of later ones."""
    from sklearn import config_context
    from sklearn.linear_model import RidgeCV
    from sklearn.preprocessing import StandardScaler

    known = ~np.isnan(x)
    mean = np.where(known, x, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    scaler, model = StandardScaler(), RidgeCV(alphas=penalties)
    with config_context(assume_finite=True, skip_parameter_validation=True):
        model.fit(scaler.fit_transform(np.where(known, x, mean)), y)
        filled = np.where(np.isnan(later), mean, later)
        predicted: Floats = model.predict(scaler.transform(filled))
    return predicted


def _compared(folds: int, model: Floats, average: Floats) -> OutOfSample:
    gains = average - model
    mse_model, mse_average = float(model.mean()), float(average.mean())
    return OutOfSample(
        folds=folds,
        units_held_back=gains.size,
        mse_model=mse_model,
        mse_average=mse_average,
        skill=1 - mse_model / mse_average if mse_average > 0 else nan,
        gain=float(gains.mean()),
        gain_se=float(gains.std(ddof=1)) / sqrt(gains.size),
        nearer=int((gains > 0).sum()),
        reason="" if mse_average > 0 else message("stats.average_never_wrong"),
    )


def _undefined(why: str, **values: int) -> OutOfSample:
    return OutOfSample(0, 0, nan, nan, nan, nan, nan, 0, message(f"stats.{why}", **values))
