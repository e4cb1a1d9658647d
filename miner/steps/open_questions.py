"""What the check still asks, where too few usable days are told."""

from __future__ import annotations

from miner.core.messages import Message, message
from miner.core.results import Severity
from miner.records.client import Client
from miner.records.synonyms import SPELT_ALIKE

_SHOWN = 3


def open_questions(client: Client) -> list[Message]:
    """Return the check's open questions that may cost usable days as notes of a ranking.

    How a tag is spelt costs none.

    Args:
        client: the records as read.
    """
    asked = [
        item
        for item in client.findings
        if item.severity is Severity.QUESTION and item.code not in SPELT_ALIKE
    ]
    told = [
        message(
            "steps.open_in_check",
            question=message("labels.finding", found=item),
        )
        for item in asked[:_SHOWN]
    ]
    if (more := len(asked) - _SHOWN) > 0:
        told.append(message("steps.open_in_check_more", count=more))
    return told
