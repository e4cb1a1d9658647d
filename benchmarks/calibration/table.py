"""Writes the calibration's table from the finished cells.

    python -m benchmarks.calibration.table

Every figure with its limit; a figure beyond its limit is marked.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from benchmarks.calibration.__main__ import CELLS, HOME
from benchmarks.calibration.worlds import WORLDS
from miner.stats.proportions import clopper_pearson

Cell = dict[str, Any]
RIVALS = ("list by lift >= 1.5", "Fisher p <= 0.05", "Benjamini-Hochberg", "free permutation")
FOUND = (
    ("a fixed question", "one fixed", {28: 0.80, 60: 0.97}),
    ("one of three fixed", "three fixed", {28: 0.65, 60: 0.95}),
    ("one outcome searched", "one outcome: found", {28: 0.48, 60: 0.87}),
    ("primary of the shipped family", "shipped family: found", {28: 0.30, 60: 0.70}),
)


def rate(cell: Cell, name: str) -> float | None:
    """Return the mean of one figure of a cell."""
    number = cell["counts"].get(name, 0)
    return cell["sums"][name] / number if number else None


def percent(value: float | None, digits: int = 1) -> str:
    """Return a share as a percentage."""
    return "-" if value is None else f"{100 * value:.{digits}f}"


def nothing_table(cells: list[Cell]) -> list[str]:
    """Return the rates of any claim where nothing is true."""
    lines = [
        "| world | days | factors | diaries | search | least it can be (99.9 %) | one fixed |"
        " three fixed | top interval covers | " + " | ".join(RIVALS) + " |",
        "|" + "---|" * (9 + len(RIVALS)),
    ]
    for cell in cells:
        number = cell["counts"]["search"]
        low = clopper_pearson(int(cell["sums"]["search"]), number, 0.998)[0]
        limit = 0.09 if WORLDS[cell["world"]].confounded else 0.05
        mark = " **over**" if (rate(cell, "search") or 0) > limit and low > limit else ""
        confounded = " (confounded)" if WORLDS[cell["world"]].confounded else ""
        row = [
            f"{cell['world']}{confounded}", cell["days"], cell["factors"], number,
            percent(rate(cell, "search")) + mark, percent(low),
            percent(rate(cell, "one fixed")), percent(rate(cell, "three fixed")),
            percent(rate(cell, "top interval covers")),
            *(percent(rate(cell, name), 0) for name in RIVALS),
        ]  # fmt: skip
        lines.append("| " + " | ".join(str(item) for item in row) + " |")
    return lines


def one_table(cells: list[Cell]) -> list[str]:
    """Return what is found where one thing is true."""
    lines = [
        "| world | days | " + " | ".join(name for name, _, _ in FOUND)
        + " | superset claimed | unrelated claimed | top interval covers |",
        "|" + "---|" * (5 + len(FOUND)),
    ]  # fmt: skip
    for cell in cells:
        row = [cell["world"], cell["days"]]
        row += [percent(rate(cell, key)) for _, key, _ in FOUND]
        row += [
            percent(rate(cell, "shipped family: superset")),
            percent(rate(cell, "shipped family: unrelated")),
            percent(rate(cell, "top interval covers")),
        ]
        lines.append("| " + " | ".join(str(item) for item in row) + " |")
    return lines


def limits(cells: list[Cell]) -> list[str]:
    """Return every limit beside the figure measured."""
    null = [c for c in cells if c["kind"] == "nothing" and not WORLDS[c["world"]].confounded]
    confounded = [c for c in cells if c["kind"] == "nothing" and WORLDS[c["world"]].confounded]
    fixed = [rate(c, "one fixed") or 0 for c in null]
    lines = ["| figure | limit | measured |", "|---|---|---|"]

    def add(name: str, limit: str, measured: str) -> None:
        lines.append(f"| {name} | {limit} | {measured} |")

    lows = [
        clopper_pearson(int(c["sums"]["search"]), c["counts"]["search"], 0.998)[0] for c in null
    ]
    if null:
        mean = sum(rate(c, "search") or 0 for c in null) / len(null)
        add("lower 99.9 % bound of any unconfounded cell", "<= 5", percent(max(lows)))
        add("mean of the unconfounded cells", "<= 5.5", percent(mean))
        add("fixed question, mean error", "4 to 6", percent(sum(fixed) / len(fixed)))
        add("fixed question, largest cell", "<= 7", percent(max(fixed)))
    if confounded:
        add(
            "confounded cells, largest",
            "<= 9",
            percent(max(rate(c, "search") or 0 for c in confounded)),
        )
    for cell in cells:
        if cell["kind"] == "one" and cell["world"] == "persistent":
            for name, key, least in FOUND:
                wanted = least[cell["days"]]
                add(
                    f"{name}, {cell['days']} days",
                    f">= {percent(wanted, 0)}",
                    percent(rate(cell, key)),
                )
            add(f"superset claimed, {cell['days']} days", "<= 5",
                percent(rate(cell, "shipped family: superset")))  # fmt: skip
    open_cells = [cell for cell in cells if not WORLDS[cell["world"]].confounded]
    covers = [rate(cell, "top interval covers") for cell in open_cells]
    known = [value for value in covers if value is not None]
    if known:
        add("interval of the top rule covers, smallest cell", ">= 93", percent(min(known)))
        add("interval of the top rule covers, mean", ">= 93", percent(sum(known) / len(known)))
    for cell in cells:
        if cell["kind"] == "spread":
            ratio = cell["sums"]["expected"] / cell["sums"]["true"]
            raw = cell["sums"]["raw"] / cell["sums"]["true"]
            add(f"expected over true, {cell['days']} days", "0.9 to 1.1",
                f"{ratio:.2f} (unshrunken {raw:.2f})")  # fmt: skip
    return lines


def write(cells: Iterable[Cell]) -> str:
    """Return the page."""
    known = sorted(cells, key=lambda c: (list(WORLDS).index(c["world"]), c["days"], c["factors"]))
    nothing = [cell for cell in known if cell["kind"] == "nothing"]
    one = [cell for cell in known if cell["kind"] == "one"]
    parts = [
        "# Calibration",
        "Made by `python -m benchmarks.calibration`, written by "
        "`python -m benchmarks.calibration.table`. Percentages. Worlds: `worlds.py`. The usual "
        "methods (last four columns) on the first 200 diaries of a cell.",
        "## Limits",
        "\n".join(limits(known)),
        "## Any claim where nothing is true",
        "\n".join(nothing_table(nothing)),
        "## One true shift of 1.4 SD (late dinner, time above the range), 15 factors",
        "\n".join(one_table(one)),
    ]
    return "\n\n".join(parts) + "\n"


def main() -> None:
    cells = [json.loads(line) for line in CELLS.read_text().splitlines()]
    (HOME / "calibration.md").write_text(write(cells))
    print(write(cells))


if __name__ == "__main__":
    main()
