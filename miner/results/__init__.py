"""Results: frozen records of plain values. Counts are kept, ratios are derived from them."""

from miner.results.base import Result, plain
from miner.results.caution import CautionKind, CautionText
from miner.results.checking import CheckReport, Finding, Severity, StreamSummary
from miner.results.error_rate import ErrorRate, FoundRate
from miner.results.ranking import (
    Counts,
    Evidence,
    Hypothesis,
    OutcomeSummary,
    Ranking,
    Withheld,
)
from miner.results.why import FactorValue, Place, UnitBehind, Why

__all__ = [
    "CautionKind",
    "CautionText",
    "CheckReport",
    "Counts",
    "ErrorRate",
    "Evidence",
    "FactorValue",
    "Finding",
    "FoundRate",
    "Hypothesis",
    "OutcomeSummary",
    "Place",
    "Ranking",
    "Result",
    "Severity",
    "StreamSummary",
    "UnitBehind",
    "Why",
    "Withheld",
    "plain",
]
