"""How often pooling claims something where nothing is true, and how well it finds what is.

    python benchmarks/pooled_size.py --tries 400

Diaries of 28 days in six worlds, 5 to 60 clients: independent days; habits and outcome that
persist; weekends and a drift of each client's own that move both; two sensors a client; habits
that react to yesterday's outcome; the same where both persist more (0.8 from day to day instead
of 0.5). ``--usual`` clears each habit of its client's mean over all days, as is usual, instead of
leaving the week after a day aside. Rates of p <= 0.05 by the answer given (two-stage below 20
clients, REML from there on) and by the other way of pooling; how often it would be called clear
were it the only question, a difference of 0.5 SD being worth acting on; the mean of what is found
where nothing is true; how often a true difference of ``--effect`` SD is found.
"""

from __future__ import annotations

import argparse

import numpy as np

from miner import rulebook
from miner.caseload import question
from miner.caseload.pooling import judge
from miner.caseload.question import Units, fit_question, usable
from miner.core.results import Doubt, Evidence

DAYS = 28
WORTH = 0.5
WORLDS = (
    "independent", "persistent", "weekend and drift", "sensors", "reacting", "reacting, lasting",
)  # fmt: skip


def units(world: str, clients: int, seed: int, effect: float = 0.0) -> Units:
    """Return the diaries of one caseload in one world; outcome SD about 1 within clients."""
    rng = np.random.default_rng([seed, clients, WORLDS.index(world)])
    shape = (clients, DAYS)
    day = np.arange(DAYS)
    weekend = (day % 7 >= 5).astype(float)
    keep = {"independent": 0.0, "reacting, lasting": 0.8}.get(world, 0.5)
    e, push = rng.normal(size=shape), rng.normal(size=shape)
    latent = np.zeros(shape)
    for at in range(1, DAYS):
        e[:, at] = keep * e[:, at - 1] + np.sqrt(1 - keep**2) * e[:, at]
        react = 0.6 * e[:, at - 1] if world.startswith("reacting") else 0.0
        latent[:, at] = keep * latent[:, at - 1] + np.sqrt(1 - keep**2) * push[:, at] + react
    level = np.zeros(shape)
    if world == "weekend and drift":
        slopes = rng.normal(size=(clients, 1)) * (day - day.mean()) / DAYS
        level = 0.8 * weekend + 2 * slopes
        latent = latent + weekend + 2 * slopes
    change = rng.integers(9, 19, clients)[:, None]
    second = (day[None, :] >= change).astype(float)
    if world == "sensors":
        level = second * rng.normal(0, 0.8, (clients, 1))
    x = (latent > 0.5).astype(float)
    y = 2 * rng.normal(size=(clients, 1)) + level + e + effect * x
    g, t = np.repeat(np.arange(clients), DAYS), np.tile(day.astype(float), clients)
    nuisance = np.column_stack([np.tile(weekend, clients), t - day.mean(), second.ravel()])
    made = Units(y.ravel(), x.ravel(), g, t, nuisance, (0, 1), np.arange(g.size))
    return usable(made, fewest_each_side=2, fewest_units=14, least_kept=0.1)


def no_doubts(difference: float) -> tuple[Doubt, ...]:  # noqa: ARG001
    """Return no doubt: nothing else is recorded that could hold a difference back."""
    return ()


def rates(world: str, clients: int, tries: int, effect: float) -> tuple[float, ...]:
    """Return the share of p <= 0.05 by the answer, two-stage, REML; called clear; the mean."""
    found = np.zeros((tries, 4))
    guard = rulebook.load().guardrails
    differences = []
    for seed in range(tries):
        fit = fit_question(units(world, clients, seed, effect), each=False)
        differences.append(fit.answer.difference or 0.0)
        for at, estimate in enumerate((fit.answer, fit.two_stage, fit.reml)):
            found[seed, at] = estimate.p is not None and estimate.p <= 0.05
        p = 1.0 if fit.answer.p is None else fit.answer.p
        found[seed, 3] = judge(fit.answer, p, p, WORTH, guard, no_doubts)[0] is Evidence.CLEAR
    return *map(float, 100 * found.mean(axis=0)), float(np.mean(differences))


def main() -> None:
    """Print a table of rates."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=400)
    parser.add_argument("--clients", type=int, nargs="*", default=[5, 10, 20, 60])
    parser.add_argument("--effect", type=float, default=0.3)
    parser.add_argument("--worlds", nargs="*", default=WORLDS, choices=WORLDS)
    parser.add_argument("--usual", action="store_true")
    asked = parser.parse_args()
    if asked.usual:
        question.REACTS_WITHIN = 0.0
    print("| world | clients | answer | two-stage | REML | called clear | mean, SD | found |")
    print("|---|---|---|---|---|---|---|---|")
    for world in asked.worlds:
        for clients in asked.clients:
            none = rates(world, clients, asked.tries, 0.0)
            true = rates(world, clients, asked.tries, asked.effect)
            told = " | ".join(f"{rate:.1f} %" for rate in none[:4])
            print(
                f"| {world} | {clients} | {told} | {none[4]:+.3f} | {true[0]:.0f} % |", flush=True
            )


if __name__ == "__main__":
    main()
