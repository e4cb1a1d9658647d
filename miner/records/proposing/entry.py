"""Writes a proposed entry as TOML, and adds it to a ``sources.toml``."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from miner.errors import MinerError
from miner.files import write_whole
from miner.records.sources import SourcesFile
from miner.records.toml_file import read_toml
from miner.results.mapping import Undecided

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_TABLES = ("columns", "units", "constants", "episodes")


def as_toml(entry: Mapping[str, Any], undecided: Sequence[Undecided]) -> str:
    """Return an entry as TOML; what it still needs stands there as a comment."""
    lines = ["[[source]]"]
    open_ = {item.key: item for item in undecided if item.needed}
    lines += [f"{key} = {_value(value)}" for key, value in entry.items() if key not in _TABLES]
    lines += _comments(
        open_.pop(key) for key in list(open_) if key.partition(".")[0] not in _TABLES
    )
    for table in _TABLES:
        inner = entry.get(table, {})
        mine = [open_.pop(key) for key in list(open_) if key.partition(".")[0] == table]
        if inner or mine:
            lines.append(f"[source.{table}]")
            lines += [f"{_key(key)} = {_value(value)}" for key, value in inner.items()]
            lines += _comments(mine)
    return "\n".join(lines) + "\n"


def _comments(items: Any) -> list[str]:
    lines = []
    for item in items:
        listed = "; one of:" if item.options else ""
        lines.append(f"# {_one_line(item.key)}: {_one_line(item.reason)}{listed}")
        lines += [f"#   {_one_line(option)}" for option in item.options]
    return lines


def _one_line(text: str) -> str:
    return "".join(mark if mark.isprintable() else "?" for mark in text)


def _key(text: str) -> str:
    return text if _BARE.fullmatch(text) else _value(text)


def _value(value: Any) -> str:
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
        return "".join(mark if mark.isprintable() else _escaped(mark) for mark in text)
    return str(value)


def _escaped(mark: str) -> str:
    return f"\\u{ord(mark):04x}" if ord(mark) < 0x10000 else f"\\U{ord(mark):08x}"


def add_entry(path: Path, file: str, toml: str) -> None:
    """Add an entry at the end of a ``sources.toml``, which is made where there is none.

    Raises:
        MinerError: it holds an entry for that file already, or it cannot be read or written.
    """
    shown = f"{path.parent.name}/{path.name}"
    if any(entry.file == file for entry in read_toml(path, SourcesFile).source):
        raise MinerError(
            f"it has an entry for '{file}' already",
            "a file that is not mapped yet",
            "Change or remove that entry by hand; nothing was written.",
            file=shown,
        )
    try:
        held = path.read_bytes() if path.exists() else b""
        gap = b"" if not held else b"\n" if held.endswith(b"\n") else b"\n\n"
        write_whole(path, held + gap + toml.encode("utf-8"))
    except OSError as error:
        raise MinerError(
            f"it cannot be written ({error.strerror or error})",
            "a folder you may write in",
            "Check the rights of the folder.",
            file=shown,
        ) from error
