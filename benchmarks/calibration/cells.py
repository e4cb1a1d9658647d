"""Which cells the calibration has, and the counts of what was run of them."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import asdict, astuple, dataclass, replace
from functools import cache
from pathlib import Path

from benchmarks.calibration.diary import Cell, Row
from benchmarks.calibration.kinds import ANSWERS, HOSTILE, UNEVEN, WEEKLY, WORLDS
from miner.core import resources
from miner.stats.proportions import clopper_pearson

DAYS = (28, 60, 90)
SHIFT = 1.4
DECIDES = {
    "miner/hypotheses": "candidates design fixed guard search tested",
    "miner/stats": "dependence effects maxt multiplicity scores",
    "benchmarks/calibration": "diary kinds rivals worlds",
}
"""What a count rests on, beside the rule books of habits, outcomes and guardrails."""


def cells() -> list[Cell]:
    """Return every cell: worlds in which nothing is true, then those in which one thing is."""
    nothing = [Cell(world, days) for world in WEEKLY for days in (28, 42, 60, 90)]
    nothing += [Cell(world, days) for world in UNEVEN for days in (42, 60, 90)]
    nothing += [Cell(world, days) for world in (*HOSTILE, *ANSWERS, *WORLDS) for days in DAYS]
    nothing += [Cell(world, 60, 30) for world in WORLDS]
    one = [
        Cell(name, days, shift=SHIFT)
        for name, world in WORLDS.items()
        for days in (28, 60)
        if not world.confounded
    ]
    return nothing + one


@cache
def code() -> str:
    """Return a hash of all that a count rests on: the decision, the rule books, the worlds."""
    home = resources.folder("rules").parent
    paths = [home / "rules" / f"{name}.toml" for name in ("factors", "guardrails", "outcomes")]
    paths += [home / room / f"{name}.py" for room, own in DECIDES.items() for name in own.split()]
    digest = hashlib.sha256()
    for path in paths:
        digest.update(path.relative_to(home).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


@dataclass(frozen=True)
class Part:
    """The counts of some diaries of one cell, by name: how often, and of how many.

    Attributes:
        first: the seed of the first diary; the next ones follow it.
        code: of what it rests on.
    """

    cell: Cell
    first: int
    diaries: int
    draws: int
    code: str
    often: dict[str, float]
    of: dict[str, int]

    @property
    def end(self) -> int:
        """The seed after that of the last diary."""
        return self.first + self.diaries

    def line(self) -> str:
        """Return it as a line of JSON."""
        return json.dumps(asdict(self), sort_keys=True) + "\n"


def counted(cell: Cell, first: int, draws: int, rows: Iterable[Row]) -> Part:
    """Count the rows of some diaries."""
    often: dict[str, float] = defaultdict(float)
    of: dict[str, int] = defaultdict(int)
    diaries = 0
    for row in rows:
        diaries += 1
        for name, value in row.items():
            often[name] += value
            of[name] += 1
    return Part(cell, first, diaries, draws, code(), dict(often), dict(of))


def read(paths: Iterable[Path]) -> list[Part]:
    """Return the parts that were run with the code as it is, no diary twice, neighbours as one."""
    lines = [line for path in paths for line in path.read_text(encoding="utf-8").splitlines()]
    found = [Part(**own | {"cell": Cell(**own["cell"])}) for own in map(json.loads, lines)]
    out: list[Part] = []
    for own in sorted(found, key=lambda own: (astuple(own.cell), own.first, -own.diaries)):
        last = out[-1] if out and out[-1].cell == own.cell else None
        if own.code != code() or (last is not None and own.first < last.end):
            continue
        if last is not None and (own.first, own.draws) == (last.end, last.draws):
            out[-1] = _joined(last, own)
        else:
            out.append(own)
    return out


def _joined(one: Part, other: Part) -> Part:
    often, of = dict(one.often), dict(one.of)
    for name, value in other.often.items():
        often[name] = often.get(name, 0.0) + value
        of[name] = of.get(name, 0) + other.of[name]
    return replace(one, diaries=one.diaries + other.diaries, often=often, of=of)


@dataclass(frozen=True)
class Counted:
    """All parts of one cell together."""

    cell: Cell
    often: dict[str, float]
    of: dict[str, int]

    def rate(self, name: str) -> float | None:
        """Return the percentage of one figure; None where it was not counted."""
        return 100 * self.often[name] / self.of[name] if self.of.get(name) else None

    def least(self, name: str) -> float:
        """Return the lower 99.9 % bound of that percentage."""
        return 100 * clopper_pearson(int(self.often[name]), self.of[name], 0.998)[0]


def merged(parts: Iterable[Part]) -> list[Counted]:
    """Add the parts of each cell, cells in their order."""
    often: dict[Cell, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    of: dict[Cell, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for own in parts:
        for name, value in own.often.items():
            often[own.cell][name] += value
            of[own.cell][name] += own.of[name]
    return [Counted(cell, dict(often[cell]), dict(of[cell])) for cell in cells() if cell in often]
