"""Proposes how a file could be read; writes the entries where asked, and takes them back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from miner.core.errors import MinerError
from miner.core.results.mapping import Loss, Mapped, Undecided
from miner.records.propose import pattern_of, propose, put_entries, take_back


def map_file(
    path: Path,
    *,
    answers: Mapping[str, str] | None = None,
    client: Path | None = None,
    write: bool = False,
    practice: bool = False,
) -> Mapped:
    """Propose the entries of ``sources.toml`` for a file, one for each stream it feeds.

    Args:
        path: the file, in a client's folder.
        answers: what a person says, by key of the entry or of a question.
        client: the client's folder; by default the one the file lies in.
        write: put the entries in place of those that read the file now.
        practice: for every client: in the practice's ``sources.toml``.

    Raises:
        MinerError: the file cannot be opened, an answer cannot be used, or an entry cannot be
            written as it stands.
    """
    path = Path(path)
    folder = client or path.resolve().parent
    target = (folder.parent if practice else folder) / "sources.toml"
    file = pattern_of(target, path.name)
    proposals = propose(path, answers, client=folder, file=file, shared=practice)
    found = Mapped(path.name, proposals)
    if not write:
        return found
    needed = [item for each in found.asked() for item in each if item[1].needed]
    if needed:
        raise _open(path, needed)
    if found.refused is not None:
        raise _refused(path, found.refused)
    replaced = put_entries(target, path.name, "\n".join(each.toml for each in found.proposals))
    return replace(found, written=_shown(target), replaced=replaced)


def undo_mapping(path: Path, *, practice: bool = False) -> tuple[str, int]:
    """Put the entries back that read a file before it was mapped the last time.

    Returns:
        The ``sources.toml`` they are in, and how many there are.

    Raises:
        MinerError: it was not mapped here, or a file cannot be read or written.
    """
    folder = Path(path).resolve().parent
    target = (folder.parent if practice else folder) / "sources.toml"
    return _shown(target), take_back(target, Path(path).name)


def _shown(target: Path) -> str:
    return f"{target.parent.name}/{target.name}"


def _open(path: Path, needed: list[tuple[str, Undecided]]) -> MinerError:
    (key, first), *others = needed
    options = ", or ".join(f'--set "{key}={each.value}"' for each in first.options)
    return MinerError(
        "steps.keys_undecided" if others else "steps.key_undecided",
        key=key,
        give=options or f"--set {key}=...",
        others=[each for each, _ in others],
        file=path.name,
    )


def _refused(path: Path, loss: Loss) -> MinerError:
    turned = " ".join(f'--set "{key}={value}"' for key, value in loss.otherwise.items())
    code = "steps.rows_lost_but_otherwise" if turned else "steps.rows_lost"
    lost, rows, why = loss.count, loss.rows, loss.what
    return MinerError(code, lost=lost, rows=rows, why=why, turned=turned, file=path.name)
