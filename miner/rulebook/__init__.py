"""The rule books: every judgement a practitioner may disagree with."""

from miner.rulebook.models import (
    BOOKS,
    Cautions,
    Cut,
    FactorRule,
    Guardrails,
    IntakeQuestion,
    OutcomeRule,
    Referral,
    RuleBook,
    load,
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
]
