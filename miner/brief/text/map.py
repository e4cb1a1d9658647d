"""A proposed mapping for people: the entry, the reason for each key, and what is left to them."""

from __future__ import annotations

from rich.console import RenderableType

from miner.brief.text.layout import Parts, heading, paragraph, section
from miner.brief.text.safe import clean
from miner.errors import several
from miner.results import Choice, Proposal, Undecided


def lead_parts(proposal: Proposal) -> Parts:
    """Return what stands above the entry."""
    if proposal.stream is None:
        told = "which stream it feeds could not be decided"
    elif not proposal.complete:
        told = f"it seems to hold {proposal.stream}; something is left for you to decide"
    else:
        told = f"it seems to hold {proposal.stream}"
    every = "" if proposal.cadence_min is None else f", every {proposal.cadence_min:g} min"
    rows = several(proposal.rows, "row")
    parts: Parts = [heading(f"{clean(proposal.file, 80)} ({rows}{every}): {told}.")]
    if proposal.written:
        parts.append(paragraph(f"Added to {proposal.written}:"))
    else:
        parts.append(paragraph("Nothing is read by this until it stands in sources.toml:"))
    return parts


def entry_text(proposal: Proposal) -> str:
    """Return the entry, one line a key, however long."""
    return f"\n{proposal.toml}\n"


def reason_parts(proposal: Proposal) -> Parts:
    """Return the reasons, what could not be decided, and what is not used."""
    unused = ", ".join(f"'{clean(name, 60)}'" for name in proposal.unused)
    return [
        *section(
            "Cannot be decided from the file", [_open(item) for item in _open_first(proposal)]
        ),
        *section("Reasons", [_reason(item) for item in proposal.choices]),
        *section("Columns not used", [paragraph(unused, 2, limit=2000)] if unused else []),
    ]


def _open_first(proposal: Proposal) -> list[Undecided]:
    return sorted(proposal.undecided, key=lambda item: not item.needed)


def _open(item: Undecided) -> RenderableType:
    options = f" Options: {'; '.join(item.options)}." if item.options else ""
    need = "" if item.needed else " The entry can be used without it."
    return paragraph(f"{item.key}: {item.reason}.{options}{need}", 2)


def _reason(item: Choice) -> RenderableType:
    return paragraph(f"{item.key} = {item.value}: {item.reason}.", 2)
