"""Diaries of measured habits: how often a true dose, or a true step, is found.

    python -m benchmarks.calibration.doses [--diaries 500] [--draws 499] [--days 42] [--workers 2]
        [--seed 500000] [--out FILE]

Each diary has 15 habits that are measured (normal, independent from day to day) and cut at the
client's own quarter, and one outcome. In turn nothing is true, one habit's measure moves the
outcome by half an SD an SD, one habit's cut moves it by as much as explains the same variance (0.5
/ sqrt(3 / 16) SD), or the measure does so only beyond its median. Prints how often it is clear:
asked as a fixed question and found by the search, as a cut alone, and as both in one family; and
in how many diaries anything else is clear. The limits stand below, each with what was measured.
Seeds under 10,000 were used while the method was made: the default lies beyond them.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from benchmarks.calibration.worlds import FIRST_DAY
from miner import rulebook
from miner.core.results import Evidence
from miner.hypotheses.design import Question, Run
from miner.hypotheses.rank import ask_table, rank_table
from miner.hypotheses.tested import Spectra
from miner.rulebook import RuleBook
from miner.tables.unit_table import UnitTable

HABITS, SLOPE, CUT = 15, 0.5, 0.25
STEP = SLOPE / np.sqrt(CUT * (1 - CUT))
BENT = 1.2
OUTCOME, MEAN, SD = "day_mean", 112.0, 8.0
RUN = "python -m benchmarks.calibration.doses"
TRUTHS = ("nothing", "linear", "step", "bent")


def dose_names(rules: RuleBook) -> tuple[str, ...]:
    """Return the measured habits that meet the outcome, those without confounders first."""
    meets = {
        name: rule
        for name, rule in rules.factors_of("day").items()
        if rule.dose and "day" in rule.lag
    }
    return tuple(sorted(meets, key=lambda name: bool(meets[name].confounders)))


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
        {
            "date": dates,
            "day_number": day,
            "rest_day": np.isin((day + 3) % 7, (5, 6)),
            "usable": True,
            "left_out": "",
            "sensor": "a",
            "coverage": 1.0,
            OUTCOME: MEAN + SD * (rng.normal(size=days) + moved),
        },
        index=pd.Index(dates),
    )
    frame[list(names)] = cuts.astype(float)
    measures = pd.DataFrame(10 + signs * amounts, index=frame.index, columns=list(names))
    return UnitTable(
        unit="day",
        frame=frame,
        outcomes=(OUTCOME,),
        factors=names,
        measures=measures,
        by_clock=frame[[OUTCOME]].copy(),
        reasons={},
        sources={},
        context=frame[[]],
    )


def without_doses(rules: RuleBook) -> RuleBook:
    """Return the rule book with no dose in it."""
    factors = {
        name: rule.model_copy(update={"dose": False}) for name, rule in rules.factors.items()
    }
    return rules.model_copy(update={"factors": factors})


def found(
    rules: RuleBook, days: int, truth: str, seed: int, draws: int, cache: Spectra
) -> dict[str, bool]:
    """Return what one diary shows, with doses and without."""
    table = dose_diary(rules, days, truth, seed)
    guard = rules.guardrails.model_copy(update={"draws": draws})
    rules = rules.model_copy(update={"guardrails": guard})
    cause, row = table.factors[0], dict[str, bool]()
    for name, books in (("cut", without_doses(rules)), ("both", rules)):
        ranked = rank_table(table, books, run=Run(draws=draws, seed=seed, spectra=cache))
        clear = [item for item in ranked.hypotheses if item.evidence is Evidence.CLEAR]
        row[f"searched, {name}"] = any(item.factors == (cause,) for item in clear)
        row[f"anything else, {name}"] = any(item.factors != (cause,) for item in clear)
        asked = ask_table(table, books, Question(cause, OUTCOME))
        row[f"fixed, {name}"] = asked.evidence is Evidence.CLEAR
    row["spoke as a dose"] = asked.shape == "dose"
    return row


def limits(rates: dict[tuple[str, int], dict[str, float]]) -> list[tuple[str, str, float, bool]]:
    """Return what is asked of 42 days: words, limit, measured, and whether it holds."""
    line, step = rates.get(("linear", 42)), rates.get(("step", 42))
    out = []
    if line:
        for name, least in (("fixed, both", 75.0), ("searched, both", 22.0)):
            out.append((f"linear, {name}", f">= {least:g}", line[name], line[name] >= least))
    if step:
        for name in ("searched", "fixed"):
            lost = step[f"{name}, cut"] - step[f"{name}, both"]
            out.append((f"step, {name}: points under the cut alone", "<= 9", lost, lost <= 9))
    return out


def report(rates: dict[tuple[str, int], dict[str, float]], diaries: int, seed: int) -> str:
    """Return the tables as Markdown."""
    names = list(next(iter(rates.values())))
    rows = [["truth", "days", *names], ["---"] * (2 + len(names))]
    rows += [
        [truth, str(days), *(f"{row[name]:.1f}" for name in names)]
        for (truth, days), row in rates.items()
    ]
    gates = [["limit", "", "measured", "holds"], ["---"] * 4]
    gates += [
        [words, limit, f"{found:.1f}", "yes" if held else "NO"]
        for words, limit, found, held in limits(rates)
    ]
    tables = ("\n".join(f"| {' | '.join(row)} |" for row in own) for own in (rows, gates))
    command = f"{RUN} --truth {' '.join(dict.fromkeys(truth for truth, _ in rates))}"
    head = (
        f"# Doses\n\n`{command}`, {diaries} diaries a row, seeds from {seed}, percentages "
        "clear.\n\n"
    )
    return head + "\n\n".join(tables) + "\n"


def rate(
    truth: str, days: int, diaries: int, draws: int, seed: int, workers: int
) -> dict[str, float]:
    """Return the percentages of one row."""
    parts = [range(seed + at, seed + min(at + 25, diaries)) for at in range(0, diaries, 25)]
    found_ = Parallel(n_jobs=workers)(delayed(batch)(truth, days, part, draws) for part in parts)
    rows = [row for part in found_ for row in part]
    return {name: 100 * float(np.mean([row[name] for row in rows])) for name in rows[0]}


def batch(truth: str, days: int, seeds: range, draws: int) -> list[dict[str, bool]]:
    """Run some diaries of one row."""
    rules, cache = rulebook.load(), {}
    return [found(rules, days, truth, seed, draws, cache) for seed in seeds]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--diaries", type=int, default=500)
    parser.add_argument("--draws", type=int, default=499)
    parser.add_argument("--days", type=int, nargs="+", default=[42])
    parser.add_argument("--truth", choices=TRUTHS, nargs="+", default=TRUTHS)
    parser.add_argument("--seed", type=int, default=500_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    rates = {}
    for days in chosen.days:
        for truth in chosen.truth:
            rates[truth, days] = rate(
                truth, days, chosen.diaries, chosen.draws, chosen.seed, chosen.workers
            )
            print(truth, days, rates[truth, days], flush=True)
    text = report(rates, chosen.diaries, chosen.seed)
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
