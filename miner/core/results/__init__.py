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
    Together,
    Withheld,
)
from miner.core.unit import Shape

__all__ = [
    "CautionKind",
    "CautionText",
    "CheckReport",
    "Counts",
    "Doubt",
    "DoubtCode",
    "ErrorRate",
    "Evidence",
    "Finding",
    "FoundRate",
    "Hypothesis",
    "Note",
    "OutcomeSummary",
    "PairRead",
    "PairsTest",
    "Per",
    "Place",
    "Plan",
    "PlanPeriod",
    "PlanResult",
    "Ranking",
    "Result",
    "Severity",
    "Shape",
    "Since",
    "StreamSummary",
    "Together",
    "Withheld",
    "Worded",
    "Wording",
    "plain",
    "worded",
]
