"""Everything the pages need of one client, as plain values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from miner.core.facts import Result

if TYPE_CHECKING:
    from miner.core.messages import Message
    from miner.core.results.checking import CheckReport
    from miner.core.results.follow import ChosenIdea, KeptResult, Offer
    from miner.core.results.meals import MealComparison
    from miner.core.results.ranking import Ranking
    from miner.core.results.why import Why

KINDS = ("preparation", "session", "take-home", "doctor")
"""The pages of a client."""
SHARED_KINDS = KINDS[1:]
"""Those that are handed out."""
MAX_ON_ONE_SIDE = 3
"""How many hypotheses the take-home page holds."""


@dataclass(frozen=True, slots=True)
class PageCopy:
    """A page that was shared: its file in an archive, when, which, and what was in it."""

    name: str
    on: str
    kind: str
    ids: tuple[str, ...]
    as_it_was: bool


@dataclass(frozen=True, slots=True, repr=False)
class NoteAt(Result):
    """One thing recorded: its stream, from when to when (minutes of the series), its words."""

    stream: str
    start: int
    end: int
    text: str


@dataclass(frozen=True, slots=True, repr=False)
class DayPicture(Result):
    """One biological day as it is drawn.

    Attributes:
        start, end: minutes from the start of the series of readings, on the wall clock.
        spread: 5, 25, 50, 75 and 95 % quantiles of the day's readings, mg/dL, or None.
        wake: waking glucose, mg/dL, or None.
        high: in the client's higher quarter of the primary outcome; None no label.
        meals, tags: how many were noted that day.
        unlogged_rises: rises high enough to expect a meal, with none noted.
    """

    day: str
    rest_day: bool
    usable: bool
    left_out: Message | str
    sensor: str
    start: int
    end: int
    spread: tuple[float, ...] | None
    wake: float | None
    high: bool | None
    meals: int
    tags: int
    unlogged_rises: int


@dataclass(frozen=True, slots=True, repr=False)
class Series(Result):
    """The readings of the whole record, one a step on the wall clock.

    Attributes:
        start: first moment, ISO, wall clock.
        values: median of the readings of each step, mg/dL, None without any.
        notes: everything that was recorded next to the readings.
    """

    start: str
    step_min: int
    values: tuple[float | None, ...]
    notes: tuple[NoteAt, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class TimeOfDay(Result):
    """The readings of one part of the day, over all usable days together.

    Attributes:
        first_hour, last_hour: by the wall clock, the last not included.
        days: usable days with a reading in it.
        spread: 5, 25, 50, 75 and 95 % quantiles of its readings, mg/dL, or None.
        above: measured minutes above the client's range, per 24 measured hours, or None.
    """

    name: str
    first_hour: int
    last_hour: int
    days: int
    spread: tuple[float, ...] | None
    above: float | None


@dataclass(frozen=True, slots=True, repr=False)
class Measure(Result):
    """One descriptive number with its definition; None is undefined."""

    name: Message
    definition: Message
    value: float | None
    unit: str


@dataclass(frozen=True, slots=True, repr=False)
class Shared(Result):
    """A page that was written to be shared: when, which, and what was in it."""

    on: str
    page: str
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, repr=False)
class EarlierResult(Result):
    """Something an earlier ranking showed: when, which, and what it was called then."""

    on: str
    id: str
    evidence: str


@dataclass(frozen=True, slots=True, repr=False)
class Lineup(Result):
    """An outcome as recorded, among nineteen imitations in which nothing is true.

    Attributes:
        units: names of the units, in order.
        panels: one value a unit for each panel.
        real: which panel holds the recorded values, counted from 0.
    """

    id: str
    units: tuple[str, ...]
    panels: tuple[tuple[float | None, ...], ...]
    real: int


@dataclass(frozen=True, slots=True, repr=False)
class TrialDates(Result):
    """The dates of an alternating test: what is tried, on which days, and the usual days."""

    plan: str
    change: str
    change_days: tuple[tuple[str, str], ...]
    usual_days: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, repr=False)
class Briefing(Result):
    """What a session is prepared from: the results of one client's records. Pages compute nothing.

    Attributes:
        display_unit: ``mg/dL`` or ``mmol/L``; every value here is in mg/dL.
        calm: client pages without numbers or curves.
        range: the client's range, mg/dL.
        call: below and above what the client calls a doctor, mg/dL; None where nothing is agreed.
        actions: what a client reads if a caution asks for a clinician; never the reason.
        intake: question in words -> yes, no or not_asked.
        medicine_tags: tags that name a medicine.
        whys: the units behind each hypothesis that may be shown, by ID.
        high_outcome: the outcome whose higher quarter ``days`` shows.
        kept: everything kept before, in the order it was kept, and what came of it.
        by_meal: the ranking by meal next to one by day; None without meals.
        pairs: similar meals with and without each habit that was chosen by meal, by ID.
        times: the readings by time of day.
        offers: what may be chosen of each hypothesis that may be shown, by ID.
        chosen: what was chosen in a session, or kept, and stands, by ID.
    """

    client: str
    display_unit: str
    calm: bool
    range: tuple[float, float]
    actions: tuple[str, ...]
    intake: Mapping[str, str]
    medicine_tags: tuple[str, ...]
    ranking: Ranking
    check: CheckReport
    days: tuple[DayPicture, ...]
    series: Series
    whys: Mapping[str, Why]
    lineups: Mapping[str, Lineup]
    measures: tuple[Measure, ...]
    high_outcome: str | None
    shared: tuple[Shared, ...] = ()
    earlier: tuple[EarlierResult, ...] = ()
    trial: TrialDates | None = None
    kept: tuple[KeptResult, ...] = ()
    by_meal: Ranking | None = None
    pairs: Mapping[str, MealComparison] = field(default_factory=dict)
    times: tuple[TimeOfDay, ...] = ()
    offers: Mapping[str, Offer] = field(default_factory=dict)
    chosen: Mapping[str, ChosenIdea] = field(default_factory=dict)
    call: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class PageChoices:
    """What was chosen for the pages of a client.

    Attributes:
        include: hypotheses chosen to be shown, by ID as ``rank`` prints them.
        trial: name of a plan whose dates are shown.
        lineup: draw nineteen imitations of the outcome of each that was chosen.
        seed: of the ranking and of the imitations.
        together: also see whether all habits together predict later days; it is on no page.
    """

    include: Sequence[str] = ()
    trial: str | None = None
    lineup: bool = False
    seed: int = 0
    together: bool = False
