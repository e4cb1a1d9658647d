"""What is expected of a claim on new days, beside what is true of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from benchmarks.calibration.worlds import WORLDS, factor_names, month
from benchmarks.promises.reach import HABITS, searched
from miner.core.results import Evidence
from miner.hypotheses.describe import foreseen
from miner.hypotheses.design import design
from miner.hypotheses.guard import Judged, Levels, judge_all, judge_one
from miner.hypotheses.search import Search
from miner.hypotheses.tested import Spectra
from miner.rulebook import Guardrails, RuleBook
from miner.stats.effects import t_quantile

Pair = tuple[str, str]


@dataclass
class Sums:
    """Claims with a number and without, and what was expected and true of those with one."""

    shown: int = 0
    silent: int = 0
    expected: float = 0.0
    true: float = 0.0
    seen: float = 0.0
    squares: list[tuple[float, float]] = field(default_factory=list)
    small: int = 0
    small_true: int = 0
    ratios: list[float] = field(default_factory=list)

    @property
    def ratio(self) -> float:
        """Expected over true."""
        return self.expected / self.true if self.true else float("nan")

    @property
    def error(self) -> float:
        """Standard error of the ratio, by the delta method over claims."""
        if self.shown < 2 or not self.true:
            return float("nan")
        pairs = np.array(self.squares)
        left = pairs[:, 0] - self.ratio * pairs[:, 1]
        return float(np.sqrt(np.square(left).sum()) / abs(self.true))


def true_sizes(
    rules: RuleBook, share: float, times: float, rng: np.random.Generator
) -> dict[Pair, float]:
    """Draw the true difference of every habit in every outcome: 0, or by the rule book's spread."""
    return {
        (factor, outcome): float(rng.normal(0, times * rule.plausible_spread))
        if rng.random() < share
        else 0.0
        for outcome, rule in rules.outcomes_of("day").items()
        for factor in factor_names(rules, HABITS)
    }


def asked_alone(found: Search, guard: Guardrails) -> list[Judged]:
    """Return every single habit as if it had been fixed alone before the records."""
    levels = Levels(guard.hint_level, guard.hint_level)
    out = []
    for test in found.tests:
        if test.white is None or len(test.rule.items) > 1 or test.p > guard.claim_level:
            continue
        critical = t_quantile(1 - guard.claim_level / 2, test.df)
        alone = replace(test, p_adjusted=test.p, critical=critical)
        out.append(judge_one(alone, levels))
    return out


def sizes(
    rules: RuleBook, share: float, times: float, days: int, diaries: int, first_seed: int
) -> dict[tuple[str, str], Sums]:
    """Return the sums of claims by (search or fixed, outcome or "all").

    Args:
        rules: the rule book.
        share: of pairs of a habit and an outcome that are true.
        times: how many times as far as the rule book says true differences spread.
        days: of each month.
        diaries: how many months.
        first_seed: of the first.
    """
    out: dict[tuple[str, str], Sums] = {}
    cache: Spectra = {}
    for at in range(diaries):
        effects: dict[Pair, float] = {}

        def draw(rng: np.random.Generator, into: dict[Pair, float] = effects) -> dict[Pair, float]:
            into |= true_sizes(rules, share, times, rng)
            return into

        seed = first_seed + 17 * at
        drawn = month(
            WORLDS["independent"], rules, days=days, factors=HABITS, seed=seed, spreads=draw
        )
        found = searched(design(drawn.table, rules), seed, cache)
        guard = rules.guardrails
        for name, judged in (
            ("search", judge_all(found.tests)),
            ("fixed", asked_alone(found, guard)),
        ):
            for item in judged:
                if item.evidence is Evidence.CLEAR and len(item.test.rule.items) == 1:
                    _add(out, name, item, effects)
    return out


def _add(
    out: dict[tuple[str, str], Sums],
    name: str,
    item: Judged,
    effects: dict[Pair, float],
) -> None:
    test = item.test
    outcome, rule = test.target.name, test.target.rule
    true = effects.get((test.target.items[test.rule.items[0]].factor, outcome), 0.0)
    way = float(np.sign(test.difference)) / rule.smallest_worth_it
    size, small = foreseen(item)
    for key in ((name, outcome), (name, "all")):
        sums = out.setdefault(key, Sums())
        sums.small += small
        sums.small_true += small and abs(true) < rule.smallest_worth_it
        sums.ratios.append(rule.plausible_spread / test.standard_error)
        if size is None:
            sums.silent += 1
            continue
        sums.shown += 1
        sums.expected += way * size
        sums.true += way * true
        sums.seen += way * test.difference
        sums.squares.append((way * size, way * true))
