"""One invented month through the shipped analysis: what was clear, found, covered."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isnan

import numpy as np

from benchmarks.calibration.kinds import EVERY
from benchmarks.calibration.rivals import rivals
from benchmarks.calibration.worlds import ANSWERING, ASKED, Month, month
from miner.core.results import Evidence
from miner.hypotheses.describe import describe
from miner.hypotheses.design import Design, Question, Run, design
from miner.hypotheses.fixed import answer
from miner.hypotheses.guard import Judged, interval, judge_all
from miner.hypotheses.search import Search, search
from miner.hypotheses.tested import Spectra
from miner.rulebook import RuleBook
from miner.stats.effects import single
from miner.stats.maxt import shuffles
from miner.words.pattern import sentence
from miner.words.wording import say

Row = dict[str, float]
PRIMARY = "minutes_above"
ALONE = ((ASKED, PRIMARY),)
THREE = (*ALONE, ("short_sleep", "wake_glucose"), ("much_stress", "day_mean"))


@dataclass(frozen=True)
class Cell:
    """What a diary is drawn from.

    Attributes:
        shift: SD by which one habit moves one outcome; 0 where nothing is true.
    """

    world: str
    days: int
    factors: int = 15
    shift: float = 0.0


@dataclass(frozen=True)
class Analysis:
    """How diaries are analysed: the rule book with so many draws, and what diaries share.

    Attributes:
        designs: of a month of so many days, habits and outcomes, with measures or without.
    """

    rules: RuleBook
    spectra: Spectra
    designs: dict[tuple[int, int, int, bool], Design]

    @property
    def draws(self) -> int:
        """Permutations of the search and of a fixed question."""
        return self.rules.guardrails.draws


def analysis(rules: RuleBook, draws: int) -> Analysis:
    """Return the shipped analysis with another number of permutations."""
    guard = rules.guardrails.model_copy(update={"draws": draws})
    return Analysis(rules.model_copy(update={"guardrails": guard}), {}, {})


def run(cell: Cell, how: Analysis, seed: int, *, beside: bool = False) -> Row:
    """Return what one diary shows; the usual methods too if ``beside``."""
    if cell.shift:
        return one_true(cell, how, seed)
    return nothing_true(cell, how, seed, beside=beside)


def nothing_true(cell: Cell, how: Analysis, seed: int, *, beside: bool) -> Row:
    """Return what is clear where nothing is true: of the search, and of a question fixed before."""
    drawn = month(
        EVERY[cell.world], how.rules, days=cell.days, factors=cell.factors, seed=seed, measured=True
    )
    plan = design(drawn.table, how.rules) if beside else _planned(drawn, how)
    found = _search(plan, how, seed)
    told = {
        "search": _clear(found, how.rules),
        "one fixed": _fixed(plan, how, ALONE),
    }
    row = {name: float(bool(clear)) for name, clear in told.items()}
    if EVERY[cell.world].answers:
        for clear in told.values():
            row |= _other_way(plan, clear, how.rules, row)
    if beside:
        orders = shuffles(cell.days, how.draws, seed)
        row |= {name: float(hit) for name, hit in rivals(found, orders).items()}
    return row | _covers(found, drawn, how.rules)


def one_true(cell: Cell, how: Analysis, seed: int) -> Row:
    """Return what is found where late dinners truly move the time above the range."""
    drawn = month(
        EVERY[cell.world],
        how.rules,
        days=cell.days,
        factors=cell.factors,
        seed=seed,
        shift=cell.shift,
    )
    plan = _planned(drawn, how)
    found = _search(plan, how, seed)
    row = _found(found, how.rules, "shipped family") | _covers(found, drawn, how.rules)
    one = replace(plan, targets=tuple(t for t in plan.targets if t.name == PRIMARY))
    row |= _found(_search(one, how, seed), how.rules, "one outcome")
    for name, pairs in (("one fixed", ALONE), ("three fixed", THREE)):
        clear = _fixed(plan, how, pairs)
        row[name] = float(any(item.test.target.name == PRIMARY for item in clear))
    return row


def _planned(drawn: Month, how: Analysis) -> Design:
    """Return what is tested: of the first month of a kind from its table, then from its arrays."""
    measured = drawn.measures is not drawn.habits
    kind = (*drawn.habits.shape, len(drawn.outcomes), measured)
    if kind not in how.designs:
        how.designs[kind] = design(drawn.table, how.rules)
    return drawn.design(how.designs[kind])


def _search(plan: Design, how: Analysis, seed: int) -> Search:
    main = plan.default_primary if len(plan.targets) > 1 else plan.targets[0].name
    return search(plan, main, Run(seed=seed, spectra=how.spectra))


def _clear(found: Search, rules: RuleBook) -> list[Judged]:
    """Return what the search calls clear."""
    return [item for item in _judged(found, rules) if item.evidence is Evidence.CLEAR]


def _judged(found: Search, rules: RuleBook) -> list[Judged]:
    """Return what passes the claim level; nothing else can be clear."""
    guard = rules.guardrails
    passing = [test for test in found.tests if test.p_adjusted <= guard.claim_level]
    return judge_all(passing) if passing else []


def _found(found: Search, rules: RuleBook, name: str) -> Row:
    clear = [item.test for item in _clear(found, rules)]
    mine = [test for test in clear if test.target.name == PRIMARY]
    named = [tuple(test.target.items[at].factor for at in test.rule.items) for test in mine]
    return {
        f"{name}: found": float((ASKED,) in named),
        f"{name}: superset": float(any(ASKED in n and len(n) > 1 for n in named)),
        f"{name}: unrelated": float(any(ASKED not in n for n in named) or len(mine) < len(clear)),
    }


def _fixed(plan: Design, how: Analysis, pairs: tuple[tuple[str, str], ...]) -> list[Judged]:
    """Return the fixed questions that are answered clear."""
    asked = [Question(factor, outcome) for factor, outcome in pairs]
    answers = answer(plan, asked, Run(spectra=how.spectra))
    return [item for _, item in answers if item.evidence is Evidence.CLEAR]


def _other_way(plan: Design, clear: list[Judged], rules: RuleBook, row: Row) -> Row:
    """Count what is clear of a habit that answers the same day, and what does not say so.

    Args:
        plan: the month's design.
        clear: what was clear.
        rules: the rule book.
        row: the counts so far.
    """
    out = {name: row.get(name, 0.0) for name in ("answers clear", "answers unsaid", "others clear")}
    words = say(rules, "sentence", "backwards")
    for judged in clear:
        item = describe(plan, judged, {}, None)
        if item.relation == "same_day" and set(item.factors) & set(ANSWERING):
            out["answers clear"] += 1
            out["answers unsaid"] += not (
                item.could_run_backwards and words in sentence(item, rules)
            )
        else:
            out["others clear"] += 1
    return out


def _covers(found: Search, drawn: Month, rules: RuleBook) -> Row:
    """Say whether the interval of the best rule covers the truth projected on that rule.

    One that is withheld says nothing false.
    """
    tested = [test for test in found.tests if not isnan(test.p)]
    if not tested:
        return {}
    passing = _judged(found, rules)
    if passing:
        top = min(passing, key=lambda item: (item.test.p_adjusted, item.test.p))
        best, doubts = top.test, top.doubts
    else:
        best, doubts = min(tested, key=lambda test: (test.p_adjusted, test.p)), ()
    if best.white is None:
        return {}
    shown = interval(best, doubts)
    if shown is None:
        return {"top interval covers": 1.0}
    truth = best.white.outcome(np.nan_to_num(drawn.truth[best.target.name]))
    own = float(single(best.amounts[:, None], truth, best.white.rank).difference[0])
    low, high = shown
    return {"top interval covers": float(low <= own <= high)}
