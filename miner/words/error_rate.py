"""The error rate for people: one sentence, how it was found, and what would be found how often."""

from __future__ import annotations

from miner.core.errors import several
from miner.core.results import ErrorRate
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import Parts, Side, heading, paragraph, section, table
from miner.words.labels import factor_phrase, outcome_label

_COLUMNS: tuple[tuple[str, Side], ...] = (
    ("true difference", "right"),
    ("found", "right"),
    ("of 100", "right"),
    ("95 % interval", "right"),
)


def error_rate_parts(
    found: ErrorRate, rules: RuleBook, unit: str = "day", display_unit: str = "mg/dL"
) -> Parts:
    """Return an error rate as a heading, paragraphs and a table.

    Args:
        found: the rates.
        rules: the rule books, for the words.
        unit: "day" or "meal".
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    parts: Parts = [heading(found.sentence)]
    if not found.worlds:
        return parts
    stopped = "" if found.finished else "It was stopped before it was finished. "
    rate = f"Rate: {100 * found.claimed / found.worlds:.1f} of 100"
    if found.any_claim_interval is not None:
        low, high = (100 * end for end in found.any_claim_interval)
        rate += f" (95 % interval {low:.1f} to {high:.1f})"
    usable = several(found.usable_units, f"usable {unit}")
    how = (
        f"{stopped}{rate}. The guard allows {100 * found.nominal:g}. "
        f"{found.client}: {usable}, {found.draws} shuffles each, seed {found.seed}."
    )
    return [
        *parts,
        paragraph(how),
        *section(_title(found, rules, unit), _found(found, display_unit)),
    ]


def _title(found: ErrorRate, rules: RuleBook, unit: str) -> str:
    if found.factor is None or found.outcome is None:
        return ""
    phrase = factor_phrase(found.factor, rules, unit)
    label = outcome_label(found.outcome, rules, unit)
    return f"How often a true difference is found ({phrase}, {label})"


def _found(found: ErrorRate, display_unit: str) -> Parts:
    show = Amounts(display_unit)
    rows = [
        (
            f"{show.size(item.shift, item.unit)} {show.unit(item.unit)}",
            f"{item.found} of {item.worlds}",
            f"{100 * item.rate:.0f}",
            " to ".join(f"{100 * end:.0f}" for end in item.interval or ()),
        )
        for item in found.found_rate_at
        if item.rate is not None
    ]
    return [table(_COLUMNS, rows, gap=2)] if rows else []
