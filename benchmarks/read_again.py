"""The open records read again: by a second reader, and from their own export.

    python -m benchmarks.read_again FOLDER --date 2026-03-01 --out benchmarks/results/read_again.md

FOLDER holds client folders of the open multi-signal records (``datasets/open-multisignal``). Each
table by day and by meal is compared with a recomputation in plain pandas from the raw files, by the
text of the rule books alone (``tests/second_reader``), and with the table of the records exported
as CSV and read back: known and unknown equal, numbers within 1e-9.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "second_reader"))
import second
from same_tables import table_differences

import miner
from miner import __version__, steps
from miner.steps.exporting import export

Apart = dict[str, dict[str, str]]


def from_export(folder: Path) -> Apart:
    """Return where the tables of an export that is read back differ."""
    client = miner.read_client(folder)
    with TemporaryDirectory() as place:
        out = Path(place) / "taken" / folder.name
        export(client, "csv", out)
        return table_differences(client, miner.read_client(out))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--date", default="")
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    lines = [
        "# The open records read again",
        "",
        f"miner {__version__}, {chosen.date}. Columns that differ in any row.",
        "",
        "| person | days | meals | second reader | export read back |",
        "|---|---|---|---|---|",
    ]
    told = []
    for folder in sorted(path for path in chosen.folder.iterdir() if path.is_dir()):
        client = miner.read_client(folder)
        sizes = (len(steps.days(client).frame), len(steps.meals(client).frame))
        again = second.disagreements(folder)
        back = from_export(folder)
        counts = [sum(map(len, apart.values())) for apart in (again, back)]
        lines.append(f"| {folder.name} | {sizes[0]} | {sizes[1]} | {counts[0]} | {counts[1]} |")
        told += [f"- {folder.name}: {apart}" for apart in (again, back) if apart]
    text = "\n".join([*lines, "", *told]) + "\n"
    if chosen.out:
        chosen.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
