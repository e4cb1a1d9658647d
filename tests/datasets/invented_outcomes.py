"""Outcomes straight from an invented client's latent glucose, with code of the tests' own."""

import numpy as np


def outcomes(world):
    """Return each outcome by row (NaN where its window is not covered), from the latent series."""
    time, latent = world.glucose.time, world.glucose.latent
    bed, wake = world.nights.bed, world.nights.wake
    rows = world.scenario.days + 2
    found = {
        name: np.full(rows, np.nan)
        for name in ("wake_glucose", "overnight_mean", "day_mean", "minutes_above")
    }
    for i in range(1, rows - 1):
        hour = latent[(time > wake[i] - 60) & (time <= wake[i])]
        found["wake_glucose"][i] = np.median(hour)
        if bed[i] >= time[0]:
            found["overnight_mean"][i] = latent[(time >= bed[i]) & (time < wake[i])].mean()
        day = latent[(time >= wake[i]) & (time < wake[i + 1])]
        found["day_mean"][i] = day.mean()
        found["minutes_above"][i] = 1440 * np.mean(day > 140)
    return found


def paired(habit, outcome, lag):
    """Return a habit and an outcome as arrays of the rows on which both are known."""
    before = np.concatenate([np.full(lag, np.nan), habit.astype(float)])[: len(habit)]
    known = ~np.isnan(before) & ~np.isnan(outcome)
    return before[known], outcome[known]
