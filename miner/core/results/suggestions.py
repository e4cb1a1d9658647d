"""Questions that other clients' records suggest for one client."""

from __future__ import annotations

from dataclasses import dataclass

from miner.core.messages import Words
from miner.core.results.base import Result
from miner.core.results.ranking import Evidence, Per, Shape


@dataclass(frozen=True, slots=True, repr=False)
class Suggestion(Result):
    """One question to fix, with a guess; no day of the client it is for stands behind it.

    Attributes:
        outcome: as ``miner ask`` takes it, so with ``meal.`` where days have one of that name.
        by: "day" or "meal".
        guess: "up" or "down", the way in which the other clients' difference points.
        clients: how many others the difference rests on.
        difference: mean of the others' own, with its 95 % ``interval``; of a dose for ``per``.
        unit: of the difference.
        p: of the question alone, both shapes looked at; ``p_adjusted`` of all of them.
        evidence: what it is called across the others: clear or a hint.
    """

    factor: str
    outcome: str
    by: str
    lag_days: int
    relation: str
    guess: str
    clients: int
    difference: float
    interval: tuple[float, float]
    unit: str
    p: float
    p_adjusted: float
    evidence: Evidence
    shape: Shape = Shape.CUT
    per: Per | None = None
    sentence: Words = ""


@dataclass(frozen=True, slots=True, repr=False)
class Suggested(Result):
    """What is suggested for one client, this client left out.

    Attributes:
        client: its code; ``folder`` its folder in the practice.
        others: how many other clients agreed to be pooled and could be used.
        fewest: how many of them a question needs.
        questions: the strongest first.
        asked: how many questions were looked at across them.
        fixed_already: how many more are fixed for this client already.
    """

    client: str
    folder: str
    others: int
    fewest: int
    questions: tuple[Suggestion, ...] = ()
    asked: int = 0
    fixed_already: int = 0
