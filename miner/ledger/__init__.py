"""The ledger of one client: an append-only file in which an edited or lost line is told."""

from miner.ledger.appending import LedgerUnwritable, append
from miner.ledger.line import NAME, SCHEMA, Event
from miner.ledger.problems import NEWER
from miner.ledger.questions import LOOKS, SETTINGS, Question, choices, named, questions, rankings
from miner.ledger.reading import Ledger, owned, read

__all__ = [
    "LOOKS",
    "NAME",
    "NEWER",
    "SCHEMA",
    "SETTINGS",
    "Event",
    "Ledger",
    "LedgerUnwritable",
    "Question",
    "append",
    "choices",
    "named",
    "owned",
    "questions",
    "rankings",
    "read",
]
