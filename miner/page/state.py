"""What all pages of one practice share, for as long as the page runs."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

from miner.page.client_cache import ClientCache, Print
from miner.page.guard import Keys, Tokens
from miner.page.jobs import Jobs, Turns

if TYPE_CHECKING:
    from markupsafe import Markup

    from miner.core.results import MealComparison, Plan, PlanResult, Ranking, Why
    from miner.core.results.caseload import Caseload, Suggested
    from miner.core.results.follow import Following
    from miner.page.rule_change import RuleTrial
    from miner.render.drawn import Drawn
    from miner.render.figures.inline import Styles
    from miner.steps import Wish

MAX_DRAWN = 400
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class RankingChoice:
    """What is ranked.

    Attributes:
        unit: "day" or "meal"; nothing for the practice's own.
        first, last: ISO dates; nothing for all days.
    """

    unit: str = ""
    first: str = ""
    last: str = ""


@dataclass
class ClientResults:
    """What was asked for of one client.

    What holds for the records as they were stands beside what told these files from others.

    Attributes:
        shown: unit, first and last day and how many days somebody saw.
        following: what new days say of everything kept.
        comparisons: meals side by side, by habit.
        whys: the units behind a pattern, by its ID.
        rankings: those beside the usual one.
        tests: what a test showed, by the name of its plan.
        plans: looked at but not written down, with what was wished, by the ID of the pattern.
        suggested: questions from the records of other clients.
    """

    shown: dict[tuple[str, str, str, int], Print] = field(default_factory=dict)
    following: tuple[Print, Following] | None = None
    comparisons: dict[str, tuple[Print, MealComparison]] = field(default_factory=dict)
    whys: dict[str, tuple[Print, Why]] = field(default_factory=dict)
    rankings: dict[RankingChoice, tuple[Print, Ranking]] = field(default_factory=dict)
    tests: dict[str, PlanResult] = field(default_factory=dict)
    plans: dict[str, tuple[Plan, Wish]] = field(default_factory=dict)
    suggested: Suggested | None = None


def made_of(held: tuple[Print, T] | None, files: Print) -> T | None:
    """Return a result that was made of these files, or None."""
    return held[1] if held is not None and held[0] == files else None


class Drawings(Generic[T]):
    """Figures as drawn, for as long as what they show is the same."""

    def __init__(self) -> None:
        self._held: OrderedDict[tuple[str, str], tuple[object, T]] = OrderedDict()

    def get(self, key: tuple[str, str], of: object, draw: Callable[[], T]) -> T:
        """Return what was drawn of something, drawn again only where that is another now.

        Args:
            key: the client, and the name of the figure.
            of: what it shows.
            draw: draws it.
        """
        held = self._held.get(key)
        if held is not None and (held[0] is of or held[0] == of):
            return held[1]
        made = draw()
        self._held[key] = (of, made)
        while len(self._held) > MAX_DRAWN:
            self._held.popitem(last=False)
        return made


@dataclass
class AppState:
    """What all pages of one practice share.

    Attributes:
        tokens: that let a browser in.
        notes: what is said once on the next page, by a name that stands in its address.
        results: what was asked for, by client.
        caseloads: the last overview, by unit.
        rule_trials: what a change of a habit would move, by the habit.
        mornings: those that are being read.
        turns: pages come before what is read in the background.
        day_figures, meal_figures, pattern_figures: with the looks they use.
    """

    practice: Path
    keys: Keys
    clients: ClientCache
    tokens: Tokens = field(default_factory=Tokens)
    jobs: Jobs = field(default_factory=Jobs)
    notes: OrderedDict[str, tuple[str, ...]] = field(default_factory=OrderedDict)
    results: dict[str, ClientResults] = field(default_factory=dict)
    caseloads: dict[str, Caseload] = field(default_factory=dict)
    rule_trials: dict[str, RuleTrial] = field(default_factory=dict)
    mornings: set[date] = field(default_factory=set)
    turns: Turns = field(default_factory=Turns)
    day_figures: Drawings[tuple[Markup, dict[str, str]]] = field(default_factory=Drawings)
    meal_figures: Drawings[tuple[Drawn | None, Styles]] = field(default_factory=Drawings)
    pattern_figures: Drawings[tuple[Styles, Drawn | None, Drawn | None]] = field(
        default_factory=Drawings
    )

    def results_of(self, code: str) -> ClientResults:
        """Return what was asked for of a client."""
        return self.results.setdefault(code, ClientResults())
