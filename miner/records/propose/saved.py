"""Entries of a ``sources.toml``: written, put in place of those before, and taken back."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import tomlkit

from miner.core.files import write_whole
from miner.core.messages import MinerError, message
from miner.records.read.files import read_toml
from miner.records.read.sources import SourcesFile

BEFORE = "sources.toml.before"
_ENTRY = re.compile(r"^(?=[\x20\t]*\[\[[\x20\t]*source[\x20\t]*\]\])", re.MULTILINE)
_ABOVE = re.compile(r"(?:^[ \t]*(?:#.*)?\n)*\Z", re.MULTILINE)


def as_toml(entry: Mapping[str, Any]) -> str:
    """Return an entry as TOML; marks that nobody sees are written as their number."""
    text = tomlkit.dumps({"source": [entry]})
    shown = (mark if mark.isprintable() or mark == "\n" else f"\\U{ord(mark):08x}" for mark in text)
    return "".join(shown)


@dataclass(frozen=True, slots=True)
class _Block:
    """One entry as it is written: the pattern of its files, what is above it, and itself."""

    file: str
    above: str
    body: str


def pattern_of(path: Path, name: str) -> str | None:
    """Return the pattern by which a ``sources.toml`` reads a file already, or None.

    Raises:
        MinerError: it cannot be used as it is.
    """
    read = [each.file for each in read_toml(path, SourcesFile).source]
    return next((file for file in read if fnmatchcase(name, file)), None)


def put_entries(path: Path, name: str, toml: str) -> int:
    """Put the entries of a file in place of those that read it now; the rest stays as it is.

    Args:
        path: the ``sources.toml``, which is made where there is none.
        name: the name of the file.
        toml: its entries.

    Returns:
        How many entries read it before. They are kept next to it until they are taken back.

    Raises:
        MinerError: it cannot be read or written, or it is not written as tables.
    """
    blocks, rest = _blocks(path)
    ours = [each for each in blocks if fnmatchcase(name, each.file)]
    first, text = next(iter(ours), None), ""
    for each in blocks:
        text += each.above + (toml if each is first else "" if each in ours else each.body)
    text += rest
    if not ours and toml:
        text = f"{text}\n" if text and not text.endswith("\n") else text
        text += f"\n{toml}" if text else toml
    kept = _kept(path) | {name: "".join(each.body for each in ours)}
    before = [{"file": file, "entries": entries} for file, entries in kept.items()]
    head = f"# {message('records.entries_before')}\n"
    _write(path.with_name(BEFORE), head + tomlkit.dumps({"before": before}))
    _write(path, text)
    return len(ours)


def take_back(path: Path, name: str) -> int:
    """Put the entries back that read a file before; those of now are kept in their place.

    Returns:
        How many entries were put back.

    Raises:
        MinerError: nothing was written for that file, or a file cannot be read or written.
    """
    kept = _kept(path)
    if name not in kept:
        raise MinerError("records.no_entry_to_take_back", file=name, path=_shown(path))
    put_entries(path, name, kept[name])
    return len(_ENTRY.findall(kept[name]))


def _kept(path: Path) -> dict[str, str]:
    held = _read(path.with_name(BEFORE))
    return {
        str(item["file"]): str(item["entries"]) for item in tomllib.loads(held).get("before", [])
    }


def _blocks(path: Path) -> tuple[list[_Block], str]:
    """Return the entries of a ``sources.toml`` with what is above each, and what follows."""
    sources = read_toml(path, SourcesFile).source
    above, *pieces = _ENTRY.split(_read(path))
    if [_file_of(each) for each in pieces] != [each.file for each in sources]:
        raise MinerError("records.entries_not_apart", file=_shown(path))
    blocks = []
    for source, piece in zip(sources, pieces, strict=True):
        below = _ABOVE.search(piece)
        stop = len(piece) if below is None else below.start()
        blocks.append(_Block(source.file, above, piece[:stop]))
        above = piece[stop:]
    return blocks, above


def _file_of(entry: str) -> str | None:
    """Return the pattern of the files of one entry; None where it is not an entry by itself."""
    try:
        (table,) = tomllib.loads(entry)["source"]
    except (ValueError, KeyError, TypeError):
        return None
    return str(table.get("file"))


def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8-sig") if path.is_file() else ""


def _write(path: Path, text: str) -> None:
    try:
        write_whole(path, text.encode("utf-8"))
    except OSError as error:
        raise MinerError(
            "records.not_writable", file=_shown(path), error=error.strerror or str(error)
        ) from error


def _shown(path: Path) -> str:
    return f"{path.parent.name}/{path.name}"
