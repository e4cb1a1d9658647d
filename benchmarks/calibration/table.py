"""The calibration's page: every gate beside its figure, then the figures of every cell."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from statistics import mean, median

from benchmarks.calibration.cells import Counted, code
from benchmarks.calibration.kinds import ANSWERS, EVERY

CLAIMS = ("search", "one fixed")
RIVALS = ("list by lift >= 1.5", "Fisher p <= 0.05", "Benjamini-Hochberg", "free permutation")
FOUND = (
    ("a fixed question", "one fixed"),
    ("one of three fixed", "three fixed"),
    ("one outcome searched", "one outcome: found"),
    ("first outcome of the whole list", "shipped family: found"),
)
LEAST_FOUND = {28: 80.0, 60: 97.0}
COVER = "top interval covers"


def nothing(cells: Iterable[Counted]) -> list[Counted]:
    """Return the cells in which nothing is true."""
    return [own for own in cells if not own.cell.shift]


def unconfounded(cells: Iterable[Counted]) -> list[Counted]:
    """Return those in which nothing is true and the table shows what there is."""
    return [
        own
        for own in nothing(cells)
        if not EVERY[own.cell.world].confounded and own.cell.world not in ANSWERS
    ]


def confounded(cells: Iterable[Counted]) -> list[Counted]:
    """Return those in which nothing in the table parts habit and circumstance."""
    return [own for own in nothing(cells) if EVERY[own.cell.world].confounded]


def known(cells: Iterable[Counted], name: str) -> list[float]:
    """Return one figure of all cells that have it."""
    return [value for own in cells if (value := own.rate(name)) is not None]


def gates(cells: Sequence[Counted]) -> list[str]:
    """Return every gate with its limit, its figure and whether it holds."""
    lines = ["| gate | limit | figure | cell | holds |", "|---|---|---|---|---|"]

    def add(name: str, limit: str, value: float, holds: bool, cell: str = "") -> None:
        word = "yes" if holds else "**no**"
        lines.append(f"| {name} | {limit} | {value:.1f} | {cell} | {word} |")

    open_cells, closed = unconfounded(cells), confounded(cells)
    for name in CLAIMS:
        if open_cells:
            worst = max(open_cells, key=lambda own: own.least(name))
            low, middle = worst.least(name), mean(known(open_cells, name))
            add(f"{name}, unconfounded: lower 99.9 % bound", "<= 5", low, low <= 5, _name(worst))
            add(f"{name}, unconfounded: mean of cells", "<= 5.5", middle, middle <= 5.5)
        if closed:
            worst = max(closed, key=lambda own: own.rate(name) or 0.0)
            rate = worst.rate(name) or 0.0
            add(f"{name}, confounded", "<= 9", rate, rate <= 9, _name(worst))
    answered = [own for own in nothing(cells) if own.cell.world in ANSWERS]
    if answered:
        unsaid = sum(own.often["answers unsaid"] for own in answered)
        said = int(sum(own.often["answers clear"] for own in answered))
        add(
            f"habits that answer the day: clear without the note, of {said}",
            "0",
            unsaid,
            unsaid == 0,
        )
    covers = known([*open_cells, *_true(cells)], COVER)
    if covers:
        add(
            "interval of the best rule covers or is withheld, mean of cells",
            ">= 95",
            mean(covers),
            mean(covers) >= 95,
        )
    for days, least in LEAST_FOUND.items():
        found = known([own for own in _true(cells) if own.cell.days == days], "one fixed")
        if found:
            add(
                f"a fixed question at 1.4 SD, {days} days: median of worlds",
                f">= {least:g}",
                median(found),
                median(found) >= least,
            )
    return lines


def power(cells: Iterable[Counted]) -> list[str]:
    """Return how often a true shift is found, as the range over the worlds."""
    lines = ["| | 28 days | 60 days |", "|---|---|---|"]
    for name, key in FOUND:
        row = [name]
        for days in LEAST_FOUND:
            own = [cell for cell in _true(cells) if cell.cell.days == days]
            if own:
                ends = [f(own, key=lambda cell: cell.rate(key) or 0.0) for f in (min, max)]
                low, high = (f"{cell.rate(key):.0f} ({cell.cell.world})" for cell in ends)
                row.append(f"{low} to {high}, median {median(known(own, key)):.0f}")
        lines.append("| " + " | ".join(row) + " |")
    return lines


def page(cells: Sequence[Counted]) -> str:
    """Return the page."""
    diaries = sorted({own.of.get("search", own.of.get("one fixed", 0)) for own in cells})
    of = " to ".join(f"{number:,}" for number in dict.fromkeys((diaries[0], diaries[-1])))
    parts = [
        "# Calibration",
        f"`python -m benchmarks.calibration`: {of} diaries a cell, percentages called clear by the "
        f"shipped decision. Worlds: `calibration/kinds.py`. The usual methods (last four columns) "
        f"on the first fifty diaries of 28 days. Code {code()}.",
        "## Gates",
        "\n".join(gates(cells)),
        "## Anything clear where nothing is true",
        "\n".join(_table(unconfounded(cells), _claimed, (*CLAIMS, "bound", COVER, *RIVALS))),
        "### Confounded: nothing in the table parts habit and circumstance",
        "\n".join(_table(confounded(cells), _claimed, (*CLAIMS, "bound", COVER, *RIVALS))),
        "### Habits that answer the glucose of the same day",
        "Clear in how many diaries; and how many times a habit that answers was clear, how many of "
        "these did not say that it could run the other way round, and how often anything else was.",
        "\n".join(
            _table(
                [own for own in nothing(cells) if own.cell.world in ANSWERS],
                _answered,
                (*CLAIMS, "answers clear", "answers unsaid", "others clear"),
            )
        ),
        "## One true shift of 1.4 SD",
        "Late dinner moves the time above the range; the habit is known as yes or no.",
        "\n".join(power(cells)),
        "\n".join(
            _table(
                _true(cells),
                _found,
                (*(name for name, _ in FOUND), "superset clear", "unrelated clear", COVER),
            )
        ),
    ]
    return "\n\n".join(parts) + "\n"


def _true(cells: Iterable[Counted]) -> list[Counted]:
    return [own for own in cells if own.cell.shift]


def _name(own: Counted) -> str:
    cell = own.cell
    return f"{cell.world}, {cell.days} days, {cell.factors} habits"


def _table(
    cells: Iterable[Counted], row: Callable[[Counted], list[str]], names: Sequence[str]
) -> list[str]:
    lines = [
        "| world | days | habits | diaries | " + " | ".join(names) + " |",
        "|---" * (4 + len(names)) + "|",
    ]
    for own in cells:
        cell, number = own.cell, own.of["one fixed"]
        head = [cell.world, str(cell.days), str(cell.factors), f"{number:,}"]
        lines.append("| " + " | ".join(head + row(own)) + " |")
    return lines


def _claimed(own: Counted) -> list[str]:
    bound = f"{max(own.least(name) for name in CLAIMS):.1f}"
    claims, rest = (_percent(own, names) for names in (CLAIMS, (COVER, *RIVALS)))
    return [*claims, bound, *rest]


def _answered(own: Counted) -> list[str]:
    counts = ("answers clear", "answers unsaid", "others clear")
    return [*_percent(own, CLAIMS), *(f"{own.often[name]:.0f}" for name in counts)]


def _found(own: Counted) -> list[str]:
    keys = [key for _, key in FOUND]
    return _percent(own, [*keys, "shipped family: superset", "shipped family: unrelated", COVER])


def _percent(own: Counted, names: Iterable[str]) -> list[str]:
    values = [own.rate(name) for name in names]
    return ["-" if value is None else f"{value:.1f}" for value in values]
