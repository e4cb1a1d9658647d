"""The rule books: every judgement a practitioner may disagree with."""

from miner.core.errors import nearest
from miner.rulebook.loading import BOOKS, load
from miner.rulebook.models import (
    Cautions,
    Cut,
    FactorRule,
    Guardrails,
    IntakeQuestion,
    OutcomeRule,
    Referral,
    RuleBook,
)

__all__ = [
    "BOOKS",
    "Cautions",
    "Cut",
    "FactorRule",
    "Guardrails",
    "IntakeQuestion",
    "OutcomeRule",
    "Referral",
    "RuleBook",
    "load",
    "nearest",
]
