"""Names in the settings that no rule book knows: told, not passed over."""

from __future__ import annotations

from miner.core.errors import closest
from miner.core.results import Finding, Severity
from miner.records.client import Client
from miner.rulebook import RuleBook


def unknown_names(client: Client, rules: RuleBook) -> list[Finding]:
    """Return a question for each outcome or intake question that does not exist.

    Args:
        client: as read.
        rules: the rule books.
    """
    asked = [
        _unknown("intake_unknown", name, list(rules.cautions.intake))
        for name in client.settings.intake
        if name not in rules.cautions.intake
    ]
    primary = client.settings.primary_outcome
    ranked = [name for name, rule in rules.outcomes.items() if not rule.asked_only]
    if primary is not None and primary not in ranked:
        asked.append(_unknown("primary_unknown", primary, ranked))
    return asked


def _unknown(code: str, name: str, known: list[str]) -> Finding:
    values = {"name": name, "known": known, "close": closest(name, known)}
    return Finding(Severity.QUESTION, "client.toml", None, code, values=values)
