"""The ledger of one client: an append-only file in which an edited or lost line is told."""

from miner.ledger.entries import (
    FrozenIdea,
    KeptEntry,
    PlanEntry,
    VerdictEntry,
    as_written,
    is_day,
    plan_verdict,
)
from miner.ledger.line import NAME, SCHEMA, Event
from miner.ledger.reading import Ledger, LedgerUnwritable, append, owned, read
from miner.ledger.state import (
    LOOKS,
    MAX_OPEN,
    SETTINGS,
    FixedQuestion,
    FollowupState,
    Kept,
    PlanKept,
    choices,
    named,
    questions,
    rankings,
    replay,
)

__all__ = [
    "LOOKS",
    "MAX_OPEN",
    "NAME",
    "SCHEMA",
    "SETTINGS",
    "Event",
    "FixedQuestion",
    "FollowupState",
    "FrozenIdea",
    "Kept",
    "KeptEntry",
    "Ledger",
    "LedgerUnwritable",
    "PlanEntry",
    "PlanKept",
    "VerdictEntry",
    "append",
    "as_written",
    "choices",
    "is_day",
    "named",
    "owned",
    "plan_verdict",
    "questions",
    "rankings",
    "read",
    "replay",
]
