"""The mixed model beside a general library, and what shrunken slopes and small caseloads promise.

    python benchmarks/mixed.py
    python benchmarks/mixed.py --rival-at 100 1000 5000 --largest 100000 --caseloads 40

Both models of a row are fitted to the same data in the same run: the own one five times, of which
the time in the middle is told, the other once by each search; the ratio is to the quicker. Run it
on one thread (OPENBLAS_NUM_THREADS=1) where other work shares the machine: the general library
waits for threads.
"""

from __future__ import annotations

import argparse
import time
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np

from miner.stats.mixed import fit_mixed
from miner.stats.mixed_design import Panel
from miner.stats.pooling import slopes_by_group, two_stage, within_between
from miner.stats.shrunken_slopes import shrunken_slopes

DAYS = 30


def caseload(clients: int, seed: int, *, phi: float = 0.0, spread: float = 5.0) -> tuple[Any, ...]:
    """Return y, X, client, within-client habit, day and true slopes of an invented caseload."""
    rng = np.random.default_rng(seed)
    g, t = np.repeat(np.arange(clients), DAYS), np.tile(np.arange(DAYS), clients)
    habit = (rng.random(g.size) < 0.3).astype(float)
    within, between = within_between(habit, g)
    e = rng.normal(size=(clients, DAYS))
    for day in range(1, DAYS):
        e[:, day] = phi * e[:, day - 1] + np.sqrt(1 - phi**2) * e[:, day]
    truth = 3 + spread * rng.normal(size=clients)
    y = 100 + 8 * rng.normal(size=clients)[g] + 2 * between + truth[g] * within + 10 * e.ravel()
    return y, np.column_stack([np.ones(g.size), within, between]), g, within, t, truth


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    found = work()
    return time.perf_counter() - start, found


def beside_statsmodels(sizes: list[int]) -> None:
    from statsmodels.regression.mixed_linear_model import MixedLM

    print("| clients | statsmodels, powell | default search | own | ratio | b (SE) | own b (SE) |")
    print("|---|---|---|---|---|---|---|")
    for clients in sizes:
        y, X, g, x, _, _ = caseload(clients, 1)
        tries = [seconds(lambda y=y, X=X, g=g, x=x: fit_mixed(y, X, Panel(g), x)) for _ in range(5)]
        own_seconds, own = sorted(tries, key=lambda one: one[0])[2]
        model = MixedLM(y, X, g, exog_re=np.column_stack([np.ones(g.size), x]))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            powell, other = seconds(lambda model=model: model.fit(reml=True, method="powell"))
            usual, _ = seconds(lambda model=model: model.fit(reml=True))
        ratio = min(powell, usual) / own_seconds
        print(
            f"| {clients:,} | {powell:.2f} s | {usual:.2f} s | {own_seconds:.3f} s | {ratio:.0f} "
            f"| {other.fe_params[1]:.4f} ({other.bse_fe[1]:.4f}) "
            f"| {own.coefficients[1]:.4f} ({own.standard_errors[1]:.4f}) |",
            flush=True,
        )


def large(sizes: list[int]) -> None:
    print("\n| clients | without dependence | with, phi 0.4 | phi found | shrunken slopes |")
    print("|---|---|---|---|---|")
    for clients in sizes:
        y, X, g, x, t, _ = caseload(clients, 2, phi=0.4)
        plain, _ = seconds(lambda y=y, X=X, g=g, x=x: fit_mixed(y, X, Panel(g), x))
        with_phi, fit = seconds(lambda y=y, X=X, g=g, x=x, t=t: fit_mixed(y, X, Panel(g, t), x))
        shrink, _ = seconds(
            lambda y=y, X=X, g=g, t=t, fit=fit: shrunken_slopes(
                fit, y, X, Panel(g, t), slope_column=1
            )
        )
        print(
            f"| {clients:,} | {plain:.2f} s | {with_phi:.2f} s | {fit.phi:.4f} | {shrink:.2f} s |",
            flush=True,
        )


def coverage(caseloads: int, clients: int) -> None:
    covered, everyone, raw, shrunken, true = [], [], [], [], []
    for seed in range(caseloads):
        y, X, g, x, _, truth = caseload(clients, 1000 + seed, spread=3.0)
        fit = fit_mixed(y, X, Panel(g), x)
        found = shrunken_slopes(fit, y, X, Panel(g), slope_column=1)
        own = slopes_by_group(y, x, Panel(g)).slopes
        top = np.argsort(own)[-max(1, clients // 20) :]
        inside = (found.intervals[:, 0] <= truth) & (truth <= found.intervals[:, 1])
        everyone.append(inside.mean())
        covered.append(inside[top].mean())
        raw.append(own[top].mean())
        shrunken.append(found.slopes[top].mean())
        true.append(truth[top].mean())
    error = 100 * np.std(covered) / np.sqrt(caseloads)
    print(
        f"| {clients:,} | {caseloads} | {100 * np.mean(covered):.1f} % (SE {error:.1f}) "
        f"| {100 * np.mean(everyone):.1f} % | {np.mean(raw):.1f} | {np.mean(true):.1f} "
        f"| {np.mean(shrunken):.1f} |",
        flush=True,
    )


def sizes_of_tests(tries: int) -> None:
    print("\n| clients | z | Satterthwaite | two-stage, modified Hartung-Knapp |")
    print("|---|---|---|---|")
    for clients in (5, 10, 20):
        z, t, hk = 0, 0, 0
        for seed in range(tries):
            y, X, g, x, _, _ = caseload(clients, 5000 + seed)
            y = y - 3 * x
            fit = fit_mixed(y, X, Panel(g), x)
            z += abs(fit.coefficients[1] / fit.standard_errors[1]) > 1.959964
            t += fit.p_values()[1] <= 0.05
            hk += two_stage(y, x, Panel(g))[0].p <= 0.05
        print(
            f"| {clients} | {100 * z / tries:.1f} % | {100 * t / tries:.1f} % "
            f"| {100 * hk / tries:.1f} % |",
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rival-at", type=int, nargs="*", default=[100, 1000])
    parser.add_argument("--largest", type=int, default=100_000)
    parser.add_argument("--caseloads", type=int, default=40)
    parser.add_argument("--tries", type=int, default=1000)
    asked = parser.parse_args()
    y, X, g, x, _, _ = caseload(5, 0)
    fit_mixed(y, X, Panel(g), x)
    beside_statsmodels(asked.rival_at)
    large([size for size in (100, 1000, 5000, 100_000) if size <= asked.largest])
    print("\n| clients | caseloads | top 5 % covered | all covered | raw | true | shrunken |")
    print("|---|---|---|---|---|---|---|")
    for clients in (20, 100, 1000):
        coverage(asked.caseloads, clients)
    sizes_of_tests(asked.tries)


if __name__ == "__main__":
    main()
