"""Names in the settings that no rule book knows: told, not passed over."""

from __future__ import annotations

from miner.core.results import Finding, Severity
from miner.records.client import Client
from miner.rulebook import RuleBook, nearest


def unknown_names(client: Client, rules: RuleBook) -> list[Finding]:
    """Return a question for each outcome or intake question that does not exist.

    Args:
        client: as read.
        rules: the rule books.
    """
    asked = [
        _told(f"'{name}' in [intake]", list(rules.cautions.intake), name)
        for name in client.settings.intake
        if name not in rules.cautions.intake
    ]
    primary = client.settings.primary_outcome
    ranked = [name for name, rule in rules.outcomes.items() if not rule.asked_only]
    if primary is not None and primary not in ranked:
        asked.append(_told(f"primary_outcome '{primary}'", ranked, primary))
    return asked


def _told(what: str, known: list[str], name: str) -> Finding:
    return Finding.worded(
        Severity.QUESTION,
        "client.toml",
        None,
        f"{what} is not known and not used",
        f"one of {', '.join(known)}",
        nearest(name, known) or "Correct it in client.toml or practice.toml.",
    )
