"""Who reads a text: the client is told "you", everybody else is told of "the client"."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from miner.rulebook import RuleBook

OF_CLIENT = "_of_client"
"""What the key of a text that speaks of the client ends in; without it one text is for all."""


class Audience(StrEnum):
    """Who reads a document."""

    CLIENT = "client"
    PRACTITIONER = "practitioner"
    DOCTOR = "doctor"


def said_to(rules: RuleBook, audience: Audience) -> RuleBook:
    """Return the rule books with the texts that this audience reads.

    Args:
        rules: as read, their texts said to the client.
        audience: who reads what is made with them.
    """
    if audience is Audience.CLIENT:
        return rules
    outcomes = {
        name: rule.model_copy(update={"label": rule.label_of_client or rule.label})
        for name, rule in rules.outcomes.items()
    }
    wording = {name: _of_client(table) for name, table in rules.wording.items()}
    return rules.model_copy(update={"outcomes": outcomes, "wording": wording})


def _of_client(table: Any) -> Any:
    if not isinstance(table, dict):
        return table
    return {key: table.get(f"{key}{OF_CLIENT}", text) for key, text in table.items()}
