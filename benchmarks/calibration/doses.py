"""Diaries of measured habits: how often a true dose, or a true step, is found.

    python -m benchmarks.calibration.doses [--diaries 200] [--draws 499] [--days 42] [--out FILE]

Each diary has 15 habits that are measured (normal, independent from day to day) and cut at the
client's own quarter, and one outcome. In turn nothing is true, one habit's measure moves the
outcome by half an SD an SD, one habit's cut moves it by as much as explains the same variance (0.5
/ sqrt(3 / 16) SD), or the measure does so only beyond its median. Prints how often it is clear:
asked as a fixed question and found by the search, as a cut alone, and as both in one family; and
in how many diaries anything else is clear.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.calibration.worlds import FIRST_DAY
from miner import rulebook
from miner.hypotheses.ask import ask_table
from miner.hypotheses.fixed import Question
from miner.hypotheses.rank import rank_table
from miner.hypotheses.whitened import Spectra
from miner.results import Evidence
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable

HABITS, SLOPE, CUT = 15, 0.5, 0.25
STEP = SLOPE / np.sqrt(CUT * (1 - CUT))
BENT = 1.2
OUTCOME, MEAN, SD = "day_mean", 112.0, 8.0
TRUTHS = ("nothing", "linear", "step", "bent")


def dose_names(rules: RuleBook) -> tuple[str, ...]:
    """Return the measured habits that meet the outcome."""
    return tuple(
        name for name, rule in rules.factors_of("day").items()
        if rule.dose and "day" in rule.lag and not rule.confounders
    ) + tuple(
        name for name, rule in rules.factors_of("day").items()
        if rule.dose and "day" in rule.lag and rule.confounders
    )  # fmt: skip


def dose_diary(rules: RuleBook, days: int, truth: str, seed: int) -> UnitTable:
    """Draw one diary; the first habit is the true one."""
    rng = np.random.default_rng(seed)
    names = dose_names(rules)[:HABITS]
    amounts = rng.normal(size=(days, len(names)))
    cuts = amounts >= np.quantile(amounts, 1 - CUT, axis=0)
    own = amounts[:, 0]
    moved = {
        "nothing": 0.0 * own,
        "linear": SLOPE * own,
        "step": STEP * cuts[:, 0],
        "bent": BENT * SLOPE * np.maximum(own, 0.0),
    }[truth]
    day = FIRST_DAY + np.arange(days)
    dates = [str(np.datetime64(int(number), "D")) for number in day]
    signs = np.array([-1.0 if rules.factor(name).towards_less else 1.0 for name in names])
    frame = pd.DataFrame(
        {"date": dates, "day_number": day, "rest_day": np.isin((day + 3) % 7, (5, 6)),
         "usable": True, "left_out": "", "sensor": "a", "coverage": 1.0,
         OUTCOME: MEAN + SD * (rng.normal(size=days) + moved)},
        index=pd.Index(dates),
    )  # fmt: skip
    frame[list(names)] = cuts.astype(float)
    measures = pd.DataFrame(10 + signs * amounts, index=frame.index, columns=list(names))
    return UnitTable(
        unit="day", frame=frame, outcomes=(OUTCOME,), factors=names, measures=measures,
        by_clock=frame[[OUTCOME]].copy(), reasons={}, sources={}, context=frame[[]],
    )  # fmt: skip


def without_doses(rules: RuleBook) -> RuleBook:
    """Return the rule book with no dose in it."""
    factors = {
        name: rule.model_copy(update={"dose": False}) for name, rule in rules.factors.items()
    }
    return rules.model_copy(update={"factors": factors})


def found(rules: RuleBook, days: int, truth: str, seed: int, draws: int, cache: Spectra) -> dict:  # type: ignore[type-arg]
    """Return what one diary shows, with doses and without."""
    table = dose_diary(rules, days, truth, seed)
    guard = rules.guardrails.model_copy(update={"draws": draws})
    rules = rules.model_copy(update={"guardrails": guard})
    cause, row = table.factors[0], {}
    for name, books in (("cut", without_doses(rules)), ("both", rules)):
        ranked = rank_table(table, books, draws=draws, seed=seed, spectra=cache)
        clear = [item for item in ranked.hypotheses if item.evidence is Evidence.CLEAR]
        row[f"searched, {name}"] = any(item.factors == (cause,) for item in clear)
        row[f"anything else, {name}"] = any(item.factors != (cause,) for item in clear)
        asked = ask_table(table, books, Question(cause, OUTCOME))
        row[f"fixed, {name}"] = asked.evidence is Evidence.CLEAR
    row["spoke as a dose"] = asked.shape == "dose"
    return row


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=200)
    parser.add_argument("--draws", type=int, default=499)
    parser.add_argument("--days", type=int, nargs="+", default=[42])
    parser.add_argument("--truth", choices=TRUTHS, nargs="+", default=TRUTHS)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    rules, cache = rulebook.load(), {}
    lines = []
    for days in chosen.days:
        for truth in chosen.truth:
            rows = [
                found(rules, days, truth, chosen.seed + seed, chosen.draws, cache)
                for seed in range(chosen.diaries)
            ]
            rates = {name: f"{100 * np.mean([row[name] for row in rows]):.1f}" for name in rows[0]}
            if not lines:
                lines = [
                    "| truth | days | " + " | ".join(rates) + " |",
                    "|---" * (2 + len(rates)) + "|",
                ]
            lines.append(f"| {truth} | {days} | " + " | ".join(rates.values()) + " |")
            print(lines[-1], flush=True)
    text = (
        f"# Doses\n\n`python -m benchmarks.calibration.doses`, {chosen.diaries} diaries a row, "
        "percentages clear.\n\n" + "\n".join(lines) + "\n"
    )
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
