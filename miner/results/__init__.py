"""Results: frozen records of plain values. Counts are kept, ratios are derived from them."""

from miner.results.base import Result, plain
from miner.results.briefing import (
    Briefing,
    DayPicture,
    EarlierResult,
    Lineup,
    Measure,
    NoteAt,
    Series,
    Shared,
    TimeOfDay,
    TrialDates,
)
from miner.results.caution import CautionKind, CautionText
from miner.results.checking import CheckReport, Finding, Severity, StreamSummary
from miner.results.error_rate import ErrorRate, FoundRate
from miner.results.follow import (
    EveryLook,
    Following,
    History,
    HistoryEntry,
    KeptResult,
    NewUnits,
)
from miner.results.mapping import Known, Loss, Mapped, Option, Proposal, Question, ReadRow
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
    "Briefing",
    "CautionKind",
    "CautionText",
    "CheckReport",
    "CorrectionMade",
    "Counts",
    "DayPicture",
    "Doubt",
    "DoubtCode",
    "EarlierResult",
    "ErrorRate",
    "EveryLook",
    "Evidence",
    "FactorValue",
    "Finding",
    "Following",
    "FoundRate",
    "History",
    "HistoryEntry",
    "Hypothesis",
    "KeptResult",
    "Known",
    "Lineup",
    "LookAlike",
    "Loss",
    "Mapped",
    "MealComparison",
    "MealPair",
    "MealSide",
    "Measure",
    "Merge",
    "Merges",
    "NewUnits",
    "Note",
    "NoteAt",
    "Notebook",
    "Option",
    "OutcomeSummary",
    "PairRead",
    "PairsTest",
    "Per",
    "Period",
    "Place",
    "Plan",
    "PlanResult",
    "Proposal",
    "Question",
    "Ranking",
    "ReadAs",
    "ReadRow",
    "Repeats",
    "Result",
    "Reworded",
    "Series",
    "Severity",
    "Shape",
    "Shared",
    "Since",
    "StreamSummary",
    "TimeOfDay",
    "Together",
    "TrialDates",
    "UnitBehind",
    "Why",
    "Withheld",
    "WordCount",
    "plain",
]
