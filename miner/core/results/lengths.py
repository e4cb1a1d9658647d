"""What a test of one pattern could be: short, middle and long, side by side."""

from __future__ import annotations

from dataclasses import dataclass

from miner.core.facts import Result


@dataclass(frozen=True, slots=True, repr=False)
class Contrast(Result):
    """What the arms of a test would differ by, if the pattern is real and the change is made.

    Attributes:
        size: expected difference of the means of the two arms, the outcome's unit, without sign.
        difference: expected difference between a unit with the habit and one without; of a dose,
            for ``amount`` of it.
        of_claim: whether that is what is expected of a claim on new units; else it is the smallest
            difference worth having, for nothing less than a claim lets anything be expected.
        with_, without: usual units with the habit and without it; None of a dose.
        asks, amount: of a dose, what the change asks of every unit, and what ``difference`` is for.
    """

    size: float
    difference: float
    of_claim: bool
    with_: int | None = None
    without: int | None = None
    asks: float | None = None
    amount: float | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Length(Result):
    """A test of one length.

    Attributes:
        name: short, middle or long.
        weeks: how many it takes; ``at_most`` how many it may take.
        sensors: how many are worn.
        pairs: of periods, each of ``period_days``.
        finds: smallest difference of the arms that it finds 80 times in 100; None where none is.
        power: how often it finds the expected difference of the arms.
        last_day: ISO date of its last day.
    """

    name: str
    at_most: int
    weeks: int
    sensors: int
    pairs: int
    period_days: int
    finds: float | None
    power: float
    last_day: str


@dataclass(frozen=True, slots=True, repr=False)
class Lengths(Result):
    """The lengths a test can have.

    Attributes:
        contrast: what its arms would differ by.
        lengths: from the shortest on; those that hold too few pairs are not among them.
        default: the shortest that finds what is expected 60 times in 100, or None.
        watch_days: new days after which watching finds it 80 times in 100, or None.
        watch_power: how often watching for ``watched`` days finds it.
    """

    contrast: Contrast
    lengths: tuple[Length, ...]
    default: str | None
    watch_days: int | None
    watch_power: float | None
    watched: int
