"""Invented clients whose pages are tested, one of them with hostile words everywhere."""

from __future__ import annotations

import csv
from pathlib import Path

from miner.core import resources

HOSTILE_TAG = "<script>alert(1)</script>"
HOSTILE = (
    HOSTILE_TAG,
    "\"'><img src=x onerror=alert(2)>",
    '=HYPERLINK("http://example.invalid","x")',
    "abc\u202edef\u200f",
    "w" * 10_000,
)
HOSTILE_CODE = "</title><script>alert(3)</script>\u202e'\""


def write_invented(folder: Path, number: int = 0) -> Path:
    """Write one client of the demo and return its folder."""
    invented = resources.invented()
    scenario = invented.demo_scenarios(0)[number]
    invented.write_practice(folder, [scenario])
    return folder / str(scenario.code)


def make_hostile(client: Path) -> Path:
    """Put hostile words into a client's code, tags and meals, each often enough to be a habit."""
    toml = client / "client.toml"
    lines = toml.read_text(encoding="utf-8").splitlines()
    code = HOSTILE_CODE.replace("\\", "\\\\").replace('"', '\\"')
    toml.write_text("\n".join([f'code = "{code}"', *lines[1:]]) + "\n", encoding="utf-8")
    _rewrite(client / "tags.csv", "tag")
    _rewrite(client / "meals.csv", "label")
    return client


def _rewrite(path: Path, column: str) -> None:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for at, row in enumerate(rows):
        if at % 2 == 0:
            row[column] = HOSTILE[(at // 2) % len(HOSTILE)]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
