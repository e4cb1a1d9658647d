"""Results: frozen records of plain values. Counts are kept, ratios are derived from them."""

from miner.results.base import Result, plain
from miner.results.checking import CheckReport, Finding, Severity, StreamSummary
from miner.results.ranking import (
    Counts,
    Evidence,
    Hypothesis,
    OutcomeSummary,
    Ranking,
    Withheld,
)

__all__ = [
    "CheckReport",
    "Counts",
    "Evidence",
    "Finding",
    "Hypothesis",
    "OutcomeSummary",
    "Ranking",
    "Result",
    "Severity",
    "StreamSummary",
    "Withheld",
    "plain",
]
