"""Results: frozen records of plain values. Counts are kept, ratios are derived from them.

What few commands need (pages, kept ideas, mappings, caseloads) is imported from its own module, so
that a ranking does not wait for it.
"""

from miner.results.base import Result, plain
from miner.results.caution import CautionKind, CautionText
from miner.results.checking import CheckReport, Finding, Severity, StreamSummary
from miner.results.error_rate import ErrorRate, FoundRate
from miner.results.meals import MealComparison, MealPair, MealSide, Repeats
from miner.results.merging import LookAlike, Merge, Merges, Reworded, WordCount
from miner.results.noting import CorrectionMade, Note, Notebook, ReadAs
from miner.results.plan import PairRead, PairsTest, Period, Plan, PlanResult
from miner.results.ranking import (
    Counts,
    Doubt,
    DoubtCode,
    Evidence,
    Hypothesis,
    OutcomeSummary,
    Per,
    Ranking,
    Shape,
    Withheld,
)
from miner.results.since import Since
from miner.results.together import Together
from miner.results.why import FactorValue, Place, UnitBehind, Why

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
    "Period",
    "Place",
    "Plan",
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
    "plain",
]
