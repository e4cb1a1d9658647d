"""How often the proposed mapping of an open file is right, left open, or wrong.

    python benchmarks/mapping.py FOLDER

FOLDER holds client folders with files that ``datasets/open-multisignal/sources.toml`` maps. A key
counts as wrong where the proposal has another value (or none) and did not say that it could not
decide; a file is wrong where any key is.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path
from typing import Any

from miner.records.proposing import propose
from miner.results import Proposal

RIGHT = Path(__file__).resolve().parents[1] / "datasets" / "open-multisignal" / "sources.toml"
TABLES = ("columns", "units", "constants", "episodes")
Keys = dict[str, Any]


def flat(entry: Keys) -> Keys:
    keys = {key: value for key, value in entry.items() if key not in TABLES}
    for table in TABLES:
        keys |= {f"{table}.{key}": value for key, value in entry.get(table, {}).items()}
    if "not_measured" in keys:
        keys["not_measured"] = sorted(keys["not_measured"])
    return keys


def told(key: str, proposal: Proposal) -> bool:
    """Say whether the proposal left this key, or what decides it, to a person."""
    names = {item.key for item in proposal.undecided}
    kind = {"constants.kind", "columns.kind", "episodes.column", "columns.time"}
    return any(key in name.split(" and ") or key in name.split(" or ") for name in names) or (
        "kind" in names and key in kind
    )


def judge(right: Keys, proposal: Proposal) -> dict[str, str]:
    """Return, for each key that either has, right, could not decide, or wrong."""
    have = flat(dict(proposal.entry))
    return {
        key: "right"
        if have.get(key) == right.get(key)
        else "could not decide"
        if told(key, proposal)
        else "wrong"
        for key in {*right, *have}
    }


def main(folder: Path) -> None:
    entries = tomllib.loads(RIGHT.read_text(encoding="utf-8"))["source"]
    first = {entry["file"]: flat(entry) for entry in reversed(entries)}
    totals: dict[str, int] = {}
    for client in sorted(path for path in folder.iterdir() if path.is_dir()):
        for name, right in sorted(first.items()):
            verdicts = judge(right, propose(client / name))
            worst = next(
                level
                for level in ("wrong", "could not decide", "right")
                if level in verdicts.values()
            )
            totals[worst] = totals.get(worst, 0) + 1
            open_ = sorted(key for key, verdict in verdicts.items() if verdict != "right")
            keys = sum(verdict == "right" for verdict in verdicts.values())
            print(f"{client.name}/{name}: {worst}; {keys} keys right; open: {', '.join(open_)}")
    print(", ".join(f"{count} {level}" for level, count in sorted(totals.items())))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
