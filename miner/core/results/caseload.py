"""What a caseload has: a row for each client, and effects pooled over those who agreed."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

from miner.core.facts import Result, plain
from miner.core.messages import Words
from miner.core.unit import Shape

if TYPE_CHECKING:
    import pandas as pd

    from miner.core.results.morning import ClientState
    from miner.core.results.ranking import Doubt, Evidence, Per


@dataclass(frozen=True, slots=True, repr=False)
class Suggestion(Result):
    """One question to fix, with a guess; no day of the client it is for is behind it.

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


@dataclass(frozen=True, slots=True, repr=False)
class ClientRow(Result):
    """One client folder: what can be said of it in one line.

    Attributes:
        client: the client's code; ``folder`` its folder in the practice.
        status: "ranked", "too_few" or "error".
        clear: habits called clear; ``hints`` those called hints.
        clear_by_chance: how often, at most, anything is called clear where nothing is true.
        pooled: consent to be pooled: True, False, or None where it was not asked.
        error: why the folder could not be used, in one line; a message holds a clause as ``short``.
        cautions: referrals, insulin and the like: what comes before anything else.
        attention: what else needs the practitioner's eye; ``not_asked`` what the intake left out.
            What may be said once of several clients holds that as ``of_many``, and as ``own`` what
            differs.
        state: what is to be done next for this client; None where it could not be read.
    """

    client: str
    folder: str
    unit: str
    usable_units: int
    left_out_units: int
    status: str
    clear: int
    hints: int
    pooled: bool | None
    error: Words | None = None
    cautions: tuple[Words, ...] = ()
    attention: tuple[Words, ...] = ()
    not_asked: tuple[str, ...] = ()
    clear_by_chance: float = 0.0
    state: ClientState | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Estimate(Result):
    """A pooled difference by one method, in the outcome's unit."""

    difference: float | None
    standard_error: float | None
    interval: tuple[float, float] | None
    df: float | None
    p: float | None
    spread: float | None
    clients: int = 0
    problem: Words = ""


@dataclass(frozen=True, slots=True, repr=False)
class ByClient(Result):
    """One client's own difference, alone and shrunken towards the others'.

    Attributes:
        raw: from the client's records alone.
        shrunken: drawn towards the others, with its 95 % ``interval``.
        differs: the whole interval is on one side of the pooled difference.
        evidence: its level in the client's own ranking.
        suggestion: what the caseload suggests where the client's own records cannot tell.
    """

    client: str
    folder: str
    raw: float | None
    shrunken: float | None
    interval: tuple[float, float] | None
    differs: bool = False
    evidence: Evidence | None = None
    suggestion: Words = ""


@dataclass(frozen=True, slots=True, repr=False)
class PooledEffect(Result):
    """One factor and one outcome across clients, within clients only.

    Attributes:
        method: "two_stage" below 20 clients, "reml" from there on: the answer.
        two_stage, reml: both answers.
        apart: they differ by more than half a standard error.
        spread: SD of true differences between clients.
        between: the difference between clients who have it always and never; never claimed.
        shape: whether units with and without are compared, or so much more of the measure.
        per: of a dose, what all differences are for; else None.
        other_shape: the answer by the other shape, where it could be fitted.
        p: allows for both shapes.
        spread_for_shrinkage: root mean square of true differences about 0; from 20 clients.
        phi: dependence of one unit on that a day before.
        doubts: why one that passes the claim level is a hint all the same.
    """

    factor: str
    outcome: str
    lag_days: int
    relation: str
    unit: str
    clients: int
    units: int
    difference: float | None
    interval: tuple[float, float] | None
    df: float | None
    p: float | None
    p_adjusted: float | None
    spread: float | None
    evidence: Evidence
    method: str
    two_stage: Estimate
    reml: Estimate
    apart: bool
    between: Estimate | None
    phi: float | None
    smallest_worth_it: float
    spread_for_shrinkage: float | None = None
    by_client: tuple[ByClient, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    sentence: Words = ""
    shape: Shape = Shape.CUT
    per: Per | None = None
    other_shape: Estimate | None = None

    @property
    def answer(self) -> Estimate:
        """The estimate that decides."""
        return self.reml if self.method == "reml" else self.two_stage


@dataclass(frozen=True, slots=True, repr=False)
class Caseload(Result):
    """A practice: a row for each client, and effects pooled over the clients who agreed.

    Attributes:
        agreed: clients with ``pooled = true``; ``declined`` with false; ``not_asked`` the rest.
        too_few: questions not pooled, as too few clients have them.
        traces: what may still hold something of a client whose folder is gone or who withdrew.
        clear_by_chance: how many of the clients would at most have something called clear by luck
            alone, on average, where nothing is true; in the search or of their fixed questions.
        suggested: questions for each client from the records of the others alone.

    Example:
        >>> caseload = miner.pool("invented", draws=100)
        >>> caseload.agreed, caseload.to_frame().shape[0]
        (2, 2)
    """

    practice: str
    version: str
    unit: str
    display_unit: str
    clients: tuple[ClientRow, ...]
    agreed: int
    declined: int
    not_asked: int
    claim_level: float
    questions_asked: int
    too_few: int
    pooled: tuple[PooledEffect, ...]
    traces: tuple[Words, ...] = ()
    notes: tuple[Words, ...] = ()
    clear_by_chance: float = 0.0
    suggested: tuple[Suggested, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return one row a client."""
        import pandas as pd

        rows = [
            row.to_dict() | {"state": row.state.state if row.state else ""} for row in self.clients
        ]
        return pd.DataFrame(rows)

    def pooled_frame(self) -> pd.DataFrame:
        """Return one row a pooled question, without those of each client."""
        import pandas as pd

        left_out = ("by_client", "two_stage", "reml", "between", "per", "other_shape")
        names = [item.name for item in fields(PooledEffect) if item.name not in left_out]
        rows = [
            {name: plain(getattr(item, name)) for name in names}
            | {"doubts": " ".join(doubt.code for doubt in item.doubts)}
            for item in self.pooled
        ]
        return pd.DataFrame(rows, columns=names)

    def spreads(self) -> dict[tuple[str, str], float]:
        """Return (factor, outcome) -> how far true differences spread about 0."""
        return {
            (item.factor, item.outcome): item.spread_for_shrinkage
            for item in self.pooled
            if item.spread_for_shrinkage is not None
        }
