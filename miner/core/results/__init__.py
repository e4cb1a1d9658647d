"""Results: frozen records of plain values. Counts are kept, ratios are derived from them.

What few commands need (pages, kept ideas, mappings, caseloads) is imported from its own module, so
that a ranking does not wait for it.
"""

from miner.core.facts import (
    CautionKind,
    CautionText,
    Note,
    Place,
    Result,
    Worded,
    Wording,
    plain,
    worded,
)
from miner.core.messages import Severity
from miner.core.results.checking import CheckReport, Finding, StreamSummary
from miner.core.results.follow import PairRead, PairsTest, Plan, PlanPeriod, PlanResult, Since
from miner.core.results.meals import MealComparison, MealPair, MealSide, Repeats
from miner.core.results.noting import (
    CorrectionMade,
    LookAlike,
    Merge,
    Merges,
    Notebook,
    ReadAs,
    Reworded,
    WordCount,
)
from miner.core.results.ranking import (
    Counts,
    Doubt,
    DoubtCode,
    ErrorRate,
    Evidence,
    FoundRate,
    Hypothesis,
    OutcomeSummary,
    Per,
    Ranking,
    Shape,
    Together,
    Withheld,
)
from miner.core.results.why import FactorValue, UnitBehind, Why

__all__ = [
    "CautionKind",
    "CautionText",
    "CheckReport",
    "CorrectionMade",
    "Counts",
    "Doubt",
    "DoubtCode",
    "ErrorRate",
    "Evidence",
    "FactorValue",
    "Finding",
    "FoundRate",
    "Hypothesis",
    "LookAlike",
    "MealComparison",
    "MealPair",
    "MealSide",
    "Merge",
    "Merges",
    "Note",
    "Notebook",
    "OutcomeSummary",
    "PairRead",
    "PairsTest",
    "Per",
    "Place",
    "Plan",
    "PlanPeriod",
    "PlanResult",
    "Ranking",
    "ReadAs",
    "Repeats",
    "Result",
    "Reworded",
    "Severity",
    "Shape",
    "Since",
    "StreamSummary",
    "Together",
    "UnitBehind",
    "Why",
    "Withheld",
    "WordCount",
    "Worded",
    "Wording",
    "plain",
    "worded",
]
