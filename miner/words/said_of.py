"""What is said to a client, as it is said of the client to somebody else."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

_SAID = (
    ("your higher quarter", "the client's higher quarter"),
    ("above your range", "above the client's range"),
    ("when you tested it", "when the client tested it"),
    ("You tested it, and", "The client tested it, and"),
    ("you tested it, and", "the client tested it, and"),
    ("Stop at once when you feel unwell. Call your doctor when",
     "The client stops at once on feeling unwell, and calls a doctor when"),
    ("Stop when this brings worry", "The client stops when this brings worry"),
)  # fmt: skip


def of_client(text: str) -> str:
    """Return a text of the rule books or the pages with the client spoken of, not to."""
    for to_client, of_client_ in _SAID:
        text = text.replace(to_client, of_client_)
    return text


def all_of_client(told: Any) -> Any:
    """Return what a template is given, every text in it said of the client."""
    if isinstance(told, str):
        return of_client(told)
    if isinstance(told, dict):
        return {key: all_of_client(value) for key, value in told.items()}
    if isinstance(told, list):
        return [all_of_client(item) for item in told]
    if type(told) is tuple:
        return tuple(all_of_client(item) for item in told)
    if is_dataclass(told) and not isinstance(told, type):
        return replace(told, **{
            field.name: all_of_client(getattr(told, field.name)) for field in fields(told)
        })  # fmt: skip
    return told
