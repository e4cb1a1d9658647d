"""What a ranking holds: counts, hypotheses, outcomes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, ClassVar

from miner.core.facts import CautionText, Result, Said, Worded
from miner.core.messages import Message, Words
from miner.core.unit import Shape

if TYPE_CHECKING:
    import pandas as pd

NOT_TOLD = "hypotheses.not_told_apart"


@dataclass(frozen=True, slots=True, repr=False)
class Together(Worded):
    """All factors together against the average of the units before, on held-out units.

    Attributes:
        better: the gain is at least two standard errors; None where it is undefined.
        units_held_back: units that were predicted; ``nearer`` of them by the factors.
        reason: why it is undefined, or "".
    """

    outcome: str
    better: bool | None
    folds: int
    units_held_back: int
    mse_model: float
    mse_average: float
    skill: float
    gain: float
    gain_se: float
    nearer: int
    reason: Words

    sentence = Said("reason")
    """Whether all habits together predicted later units better than the average did."""


class Evidence(StrEnum):
    """What a hypothesis may be called."""

    CLEAR = "clear"
    HINT = "hint"
    CANNOT_TELL = "cannot_tell"
    LITTLE_SIGN = "little_sign"


@dataclass(frozen=True, slots=True, repr=False)
class Withheld(Result):
    """Why nothing may be said, as a value; ``have`` and ``need`` are counts where counts decide."""

    reason: Words
    have: float | None = None
    need: float | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Per(Result):
    """What the difference of a dose is for.

    Attributes:
        amount: so much of its measure, in ``unit``.
        towards: "more" or "less" of it, as the habit has it.
        span: how far the client's own quarters are apart, in ``amount``.
    """

    amount: float
    unit: str
    towards: str
    span: float


class DoubtCode(StrEnum):
    """Why a pattern that passes the claim level is only a hint."""

    ORDER = "order"
    ONE_DAY = "one_day"
    CONFOUNDER = "confounder"
    CLOCK = "clock"
    WEEKDAY = "weekday"
    UNEQUAL_SPREAD = "unequal_spread"
    OTHER_WAY = "other_way"
    MEDICINE = "medicine"


@dataclass(frozen=True, slots=True, repr=False)
class Doubt(Result):
    """One reason why a claim is a hint.

    Attributes:
        other: what is behind it: the unit left out (``one_day``), a factor's name
            (``confounder``), weekdays as "tue thu" (``weekday``).
        left: share of the difference that is left once it is allowed for, where one was fitted.
    """

    code: DoubtCode
    other: str | None = None
    left: float | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Counts(Result):
    """Units with and without a factor, and how many of each were in the higher quarter."""

    with_: int
    with_high: int
    without: int
    without_high: int
    unknown: int

    CALLED: ClassVar[Mapping[str, str]] = {"with_": "with"}

    @property
    def known(self) -> int:
        """Units in which both the factor and the outcome are known."""
        return self.with_ + self.without

    @property
    def high(self) -> int:
        """Known units in the higher quarter."""
        return self.with_high + self.without_high

    @property
    def support(self) -> float | None:
        """With the factor and high, of all known units."""
        return self.with_high / self.known if self.known else None

    @property
    def confidence(self) -> float | None:
        """High, of the units with the factor."""
        return self.with_high / self.with_ if self.with_ else None

    @property
    def lift(self) -> float | None:
        """Confidence over the share of known units that are high."""
        if self.confidence is None or not self.high:
            return None
        return self.confidence * self.known / self.high

    @property
    def leverage(self) -> float | None:
        """Support minus what it would be if factor and outcome were unrelated."""
        if self.support is None:
            return None
        return self.support - (self.with_ / self.known) * (self.high / self.known)


@dataclass(frozen=True, slots=True, repr=False)
class OutcomeSummary(Result):
    """One outcome of a ranking: its unit and what a month of this length could show in it."""

    name: str
    unit: str
    smallest_worth_it: float
    detectable: float | None
    ordinary_wobble: float | None
    units: int = 0
    withheld: Withheld | None = None


IN_UNITS_OF_OUTCOME = (
    "difference",
    "interval",
    "expected_on_new_days",
    "ordinary_interval",
    "standard_error",
    "unlikely_beyond",
    "means",
)


@dataclass(frozen=True, slots=True, repr=False)
class Hypothesis(Worded):
    """One rule: factors and an outcome, what was counted, and what may be said of it.

    Attributes:
        could_run_backwards: the outcome may as well lead to the habit: always where both are in
            one day. What is clear says so in its sentence.
        expected_on_new_days: of a claim, its difference shrunk; None for anything less, and
            where the records say too little of its size.
        days_to_settle: new days that would find a difference worth acting on 80 times in 100, by
            themselves.
        t_at_worth: the t that such a difference would have on these units, on average.
        small: whether less is expected of a claim than is worth acting on.
        interval: simultaneous, the outcome's own unit; of a rare habit it allows for days that
            scatter further; None where nothing was tested, or the pattern may be the week's.
        means: of the outcome with the habit and without it, as recorded; None where either is
            unknown.
        shape: whether units with and without are compared, or a line is fitted to the measure;
            the counts are of with and without all the same.
        per: of a dose, what ``difference`` and ``interval`` are for; else None.
        tried_before: how its last test ended, where it was kept and judged before, or None.

    Example:
        >>> answer = miner.ask(client, "short_sleep", "wake_glucose")
        >>> answer.unit, answer.to_dict()["counts"]["with"]
        ('mg/dL', 15)
    """

    id: str
    rank: int
    family: str
    factors: tuple[str, ...]
    lag_days: tuple[int, ...]
    outcome: str
    relation: str
    counts: Counts
    difference: float | None
    unit: str
    interval: tuple[float, float] | None
    p: float | None
    p_adjusted: float | None
    evidence: Evidence
    withheld: Withheld | None = None
    expected_on_new_days: float | None = None
    small: bool = False
    travels_with: tuple[str, ...] = ()
    could_run_backwards: bool = False
    days_to_settle: int | None = None
    t_at_worth: float | None = None
    doubts: tuple[Doubt, ...] = ()
    notes: tuple[Words, ...] = ()
    ordinary_interval: tuple[float, float] | None = None
    standard_error: float | None = None
    degrees_of_freedom: int | None = None
    fixed_on: str | None = None
    fixed_before: bool | None = None
    fixed_proven: bool | None = None
    guess: str | None = None
    unlikely_beyond: float | None = None
    tried_before: str | None = None
    means: tuple[float, float] | None = None
    shape: Shape = Shape.CUT
    per: Per | None = None

    sentence = Said("t_at_worth")
    """Its counts in words, and of a dose its slope."""

    luck_sentence = Said("t_at_worth")
    """How often luck alone would show something this strong."""

    def column_units(self) -> dict[str, str]:
        """Return the unit of each column that has one: of the outcome, lags in days."""
        return dict.fromkeys(IN_UNITS_OF_OUTCOME, self.unit) | {"lag_days": "days"}

    @property
    def span(self) -> float:
        """By what a difference is multiplied to be that of the client's own habit; 1 for a cut."""
        return 1.0 if self.per is None else self.per.span

    @property
    def came_with(self) -> str | None:
        """The habit that a single one cannot be separated from, if that is why it is withheld."""
        reason = self.withheld.reason if self.withheld else ""
        if len(self.factors) > 1 or not isinstance(reason, Message) or reason.code != NOT_TOLD:
            return None
        return str(reason.values["factor"])

    def to_dict(self) -> dict[str, Any]:
        """Return the fields of the contract, the derived ratios among them."""
        raw = super(Hypothesis, self).to_dict()
        ratios = {
            name: getattr(self.counts, name)
            for name in ("support", "confidence", "lift", "leverage")
        }
        items, at = list(raw.items()), list(raw).index("counts") + 1
        return dict([*items[:at], *ratios.items(), *items[at:]])


@dataclass(frozen=True, slots=True, repr=False)
class Ranking(Worded):
    """What ``rank`` found in one client's records.

    Attributes:
        from_day, to_day: first and last day with a usable unit.
        days: how many days were looked at, usable or not; 0 where that is not known.
        first_day, last_day: the first and the last of them.
        second_look: the other unit was ranked first, so that nothing searched is called clear.
        clear_by_chance: how often, at most, anything is called clear where nothing is true, in the
            search or of the fixed questions, which are a family of their own.

    Example:
        >>> ranking = miner.rank(client, draws=200)
        >>> len(ranking.to_frame()) == len(ranking.hypotheses)
        True
        >>> ranking.find("4c28aa7c").outcome
        'wake_glucose'
    """

    client: str
    version: str
    unit: str
    usable_units: int
    left_out_units: int
    seed: int
    draws: int
    records_hash: str
    rules_hash: str
    rankings_of_these_records: int
    questions_asked: int
    claim_level: float
    primary_outcome: str | None
    hints_by_chance: float | None
    outcomes: tuple[OutcomeSummary, ...]
    hypotheses: tuple[Hypothesis, ...]
    cautions: tuple[CautionText, ...]
    status: str = "ranked"
    need_units: int = 0
    notes: tuple[Words, ...] = ()
    from_day: str | None = None
    to_day: str | None = None
    days: int = 0
    first_day: str | None = None
    last_day: str | None = None
    together: Together | None = None
    second_look: bool = False
    clear_by_chance: float = 0.0

    verdict = Said("last_day")
    """What the records say, in one line."""

    def not_told_apart(self, level: float, worth: Mapping[str, float]) -> list[Hypothesis]:
        """Return what would be at least a hint, were it not for a habit that came with it.

        Args:
            level: p up to which something is a hint.
            worth: the smallest difference worth it, by outcome.
        """
        return [
            item
            for item in self.hypotheses
            if item.evidence is Evidence.CANNOT_TELL
            and item.family != "fixed"
            and item.came_with is not None
            and item.p is not None
            and item.p <= level
            and abs(item.difference or 0.0) * item.span >= worth[item.outcome]
        ]

    def numbered(self, hints: int) -> list[Hypothesis]:
        """Return what is shown one by one, in the order of its numbers, which begin with 1.

        Fixed questions come first, then what is clear, then hints.

        Args:
            hints: how many hints are shown.
        """
        searched = [item for item in self.hypotheses if item.family != "fixed"]
        return [
            *(item for item in self.hypotheses if item.family == "fixed"),
            *(item for item in searched if item.evidence is Evidence.CLEAR),
            *[item for item in searched if item.evidence is Evidence.HINT][:hints],
        ]

    def find(self, id_: str) -> Hypothesis | None:
        """Return the hypothesis of that ID, or None.

        A fixed question that has too few days yet is listed with what the search found of it; then
        what the search found is returned.
        """
        own = [item for item in self.hypotheses if item.id == id_]
        return min(own, key=lambda item: item.difference is None) if own else None

    def to_frame(self) -> pd.DataFrame:
        """Return one row a hypothesis, counts and the ends of intervals in columns of their own.

        ``attrs["units"]`` holds the unit of each outcome, which the column ``unit`` has as well.
        """
        import pandas as pd

        rows = []
        for item in self.hypotheses:
            row = item.to_dict()
            counts = row.pop("counts")
            row["factors"] = " + ".join(item.factors)
            row["lag_days"] = " + ".join(str(lag) for lag in item.lag_days)
            row["doubts"] = " ".join(doubt.code for doubt in item.doubts)
            row |= counts
            row["mean_with"], row["mean_without"] = row.pop("means") or (None, None)
            for name in ("interval", "ordinary_interval"):
                row[f"{name}_low"], row[f"{name}_high"] = row.pop(name) or (None, None)
            rows.append(row)
        frame = pd.DataFrame(rows)
        frame.attrs["units"] = {item.outcome: item.unit for item in self.hypotheses}
        return frame


@dataclass(frozen=True, slots=True, repr=False)
class FoundRate(Result):
    """How often a true effect of one size is called clear.

    Attributes:
        interval: 95 % Clopper-Pearson interval of the rate, None without any month.
    """

    shift: float
    unit: str
    worlds: int
    found: int
    rate: float | None
    interval: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, repr=False)
class ErrorRate(Worded):
    """The rate of any claim where nothing is true, and how large an effect is found how often.

    Attributes:
        worlds: simulated months in which nothing is true, all of them finished.
        claimed: of these, with at least one clear hypothesis.
        any_claim_interval: 95 % Clopper-Pearson interval of the rate.
        factor, outcome: the rule that is true in the months with an effect.
        moved: months of the client's own outcomes in which each habit was moved by whole weeks.
            They are no independent records, so that their rate has no interval.
        moved_claimed: of these, with at least one clear hypothesis.
        finished: False where it was interrupted.

    Example:
        >>> rate = miner.error_rate(client, worlds=2, draws=100)
        >>> rate.any_claim_rate
        0.0
    """

    client: str
    worlds: int
    draws: int
    seed: int
    claimed: int
    any_claim_rate: float | None
    any_claim_interval: tuple[float, float] | None
    nominal: float
    factor: str | None
    outcome: str | None
    found_rate_at: tuple[FoundRate, ...]
    usable_units: int
    finished: bool
    moved: int = 0
    moved_claimed: int = 0

    sentence = Said("finished")
    """How often this analysis would claim something where nothing is true."""
