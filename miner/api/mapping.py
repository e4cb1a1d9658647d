"""Proposes how a file could be read, and adds the entry where somebody asks for it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from miner.errors import MinerError
from miner.records.proposing import add_entry, propose
from miner.results import Proposal


def map_file(
    path: Path, *, write: bool = False, practice: bool = False, stream: str | None = None
) -> Proposal:
    """Propose the entry of ``sources.toml`` for a file.

    Args:
        path: the file, in a client's folder.
        write: add the entry to the client's ``sources.toml``.
        practice: propose it for every client, and write it to the practice's.
        stream: which stream it feeds, where somebody says so.

    Raises:
        MinerError: the file cannot be opened, or the entry cannot be written as it stands.
    """
    path = Path(path)
    proposal = propose(path, shared=practice, stream=stream)
    if not write:
        return proposal
    needed = [item for item in proposal.undecided if item.needed]
    if not proposal.complete:
        first = needed[0]
        options = f" It could be {' or '.join(first.options)}." if first.options else ""
        raise MinerError(
            f"{first.key} cannot be decided: {first.reason}.{options}"
            + (f" {len(needed) - 1} more are open." if len(needed) > 1 else ""),
            "an entry with nothing left open",
            "Run 'miner map' without --write, complete the entry and put it into sources.toml.",
            file=path.name,
        )
    client = path.resolve().parent
    target = (client.parent if practice else client) / "sources.toml"
    add_entry(target, str(proposal.entry["file"]), proposal.toml)
    return replace(proposal, written=f"{target.parent.name}/{target.name}")
