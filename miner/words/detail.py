"""The numbers of every question of a ranking, one table an outcome."""

from __future__ import annotations

from miner.core.results import Hypothesis, OutcomeSummary, Ranking
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts, chance, fixed
from miner.words.document import Parts, Side, paragraph, section, table
from miner.words.labels import factor_name, outcome_label
from miner.words.safe import clean
from miner.words.sentences import say

_COLUMNS: tuple[tuple[str, Side], ...] = (
    ("#", "right"),
    ("habit\nID, lag", "left"),
    ("with\nwithout", "right"),
    ("supp\nconf", "right"),
    ("lift\nlev", "right"),
    ("difference\ninterval", "left"),
    ("p\np adj", "left"),
    ("evidence\nunknown", "left"),
)


def detail_parts(ranking: Ranking, rules: RuleBook, amounts: Amounts) -> Parts:
    """Return, outcome by outcome, what was counted and computed for every question.

    Two lines a question: high of all units with the habit, support, lift, difference, p and the
    evidence; below them its identifier, high of all without it, confidence, leverage, interval,
    adjusted p and the units in which it is unknown.
    """
    legend = say(rules, "detail", "legend", units=f"{ranking.unit}s")
    parts: Parts = [paragraph(""), paragraph(legend)] if ranking.hypotheses else []
    for outcome in ranking.outcomes:
        rows = [
            _row(item, rules, ranking.unit, amounts)
            for item in ranking.hypotheses
            if item.outcome == outcome.name
        ]
        if rows:
            title = (
                f"{outcome_label(outcome.name, rules, ranking.unit)}, {amounts.unit(outcome.unit)}"
            )
            body: Parts = [paragraph(_reach(outcome, amounts), 2), table(_COLUMNS, rows, indent=0)]
            parts += section(title, body)
    return parts


def _row(item: Hypothesis, rules: RuleBook, unit: str, amounts: Amounts) -> tuple[str, ...]:
    counts = item.counts
    names = " + ".join(factor_name(name, rules, unit) for name in item.factors)
    lags = " ".join(str(lag) for lag in item.lag_days)
    return (
        str(item.rank),
        f"{clean(names, 60)}\n{clean(item.id, 16)} {lags}",
        f"{counts.with_high} of {counts.with_}\n{counts.without_high} of {counts.without}",
        f"{fixed(counts.support, 2)}\n{fixed(counts.confidence, 2)}",
        f"{fixed(counts.lift, 2)}\n{fixed(counts.leverage, 2)}",
        f"{amounts.difference(item.difference, item.unit)}{_per(item)}\n"
        f"{amounts.interval(item.interval, item.unit)}",
        f"{chance(item.p)}\n{chance(item.p_adjusted)}",
        f"{str(item.evidence).replace('_', ' ')}\n{counts.unknown}",
    )


def _per(item: Hypothesis) -> str:
    per = item.per
    return "" if per is None else f" per {per.amount:g} {per.unit} {per.towards}"


def _reach(outcome: OutcomeSummary, amounts: Amounts) -> str:
    def say(value: float | None) -> str:
        return f"{amounts.size(value, outcome.unit)} {amounts.unit(outcome.unit)}"

    return (
        f"Worth acting on: {say(outcome.smallest_worth_it)}. "
        f"Found 80 times in 100: {say(outcome.detectable)}. "
        f"Ordinary wobble: {say(outcome.ordinary_wobble)}."
    )
