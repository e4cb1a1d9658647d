"""What all pages of one practice share, for as long as the page runs."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

from miner import rulebook
from miner.core.files import RULES
from miner.core.messages import MinerError
from miner.page.guard import Keys, Tokens
from miner.page.jobs import Jobs, Turns
from miner.page.places import clients_of
from miner.render.figures.inline import Styles

if TYPE_CHECKING:
    from markupsafe import Markup

    from miner.core.results import Plan, PlanResult, Ranking
    from miner.core.results.caseload import Caseload, Suggested
    from miner.core.results.follow import Following
    from miner.core.results.meals import MealComparison
    from miner.core.results.why import Why
    from miner.page.client_cache import ClientCache, Print
    from miner.render.drawn import Drawn
    from miner.rulebook import RuleBook
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


@dataclass(frozen=True, slots=True)
class RuleTrial:
    """What a change of a habit would move.

    Attributes:
        at: where it would begin, as it was written.
        words: that in words.
        sides: for each client on how many days it would change sides, of how many.
    """

    at: str
    words: str
    sides: list[tuple[str, int, int]]


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
        wished: what was chosen in a session and could not be written yet, by the pattern's ID.
        suggested: questions from the records of other clients.
    """

    shown: dict[tuple[str, str, str, int], Print] = field(default_factory=dict)
    following: tuple[Print, Following] | None = None
    comparisons: dict[str, tuple[Print, MealComparison]] = field(default_factory=dict)
    whys: dict[str, tuple[Print, Why]] = field(default_factory=dict)
    rankings: dict[RankingChoice, tuple[Print, Ranking]] = field(default_factory=dict)
    tests: dict[str, PlanResult] = field(default_factory=dict)
    plans: dict[str, tuple[Plan, Wish]] = field(default_factory=dict)
    wished: dict[str, str] = field(default_factory=dict)
    suggested: Suggested | None = None


def made_of(held: tuple[Print, T] | None, files: Print) -> T | None:
    """Return a result that was made of these files, or None."""
    return held[1] if held is not None and held[0] == files else None


class Drawings(Generic[T]):
    """Figures as drawn with the looks they use, for as long as what they show is the same."""

    def __init__(self) -> None:
        self._held: OrderedDict[tuple[str, str], tuple[object, tuple[T, Styles]]] = OrderedDict()

    def get(
        self, key: tuple[str, str], of: object, draw: Callable[[Styles], T]
    ) -> tuple[T, Styles]:
        """Return what was drawn of something, drawn again only where that is another now.

        Args:
            key: the client, and the name of the figure.
            of: what it shows.
            draw: draws it, and adds the looks it uses to those it is given.
        """
        held = self._held.get(key)
        if held is not None and (held[0] is of or held[0] == of):
            return held[1]
        styles = Styles()
        made = draw(styles), styles
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
        day_figures, meal_figures, pattern_figures, follow_figures: as they were drawn last.
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
    day_figures: Drawings[Markup] = field(default_factory=Drawings)
    meal_figures: Drawings[Drawn | None] = field(default_factory=Drawings)
    follow_figures: Drawings[list[Drawn | None]] = field(default_factory=Drawings)
    pattern_figures: Drawings[tuple[Drawn | None, Drawn | None]] = field(default_factory=Drawings)

    @property
    def rules(self) -> RuleBook:
        """The rule books of the practice."""
        own = self.practice / RULES
        return rulebook.load(*([own] if any(own.glob("*.toml")) else []))

    def results_of(self, code: str) -> ClientResults:
        """Return what was asked for of a client."""
        return self.results.setdefault(code, ClientResults())

    def read_morning(self, on: date) -> None:
        """Look at every client's newest whole day of a morning, one after the other."""
        self.mornings.add(on)
        for name in clients_of(self.practice):
            self.turns.wait()
            with suppress(MinerError, OSError):
                self.clients.entry(self.practice / name).morning(on)
        self.mornings.discard(on)

    def read_in_background(self, on: date) -> None:
        """Begin to read what another morning needs, unless that goes on already."""
        if on not in self.mornings:
            self.mornings.add(on)
            threading.Thread(target=self.read_morning, args=(on,), daemon=True).start()
