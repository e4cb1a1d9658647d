"""Clients as read, in memory, for as long as their files are the same."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from miner import steps
from miner.core.files import RULES, SHARED
from miner.core.messages import MinerError
from miner.core.results import CheckReport, Ranking, Severity
from miner.core.results.briefing import Briefing
from miner.core.results.follow import LATEST_START
from miner.core.results.morning import ClientMorning, DayReview
from miner.page.places import LEDGER, require_inside
from miner.rulebook import RuleBook
from miner.steps import (
    check_records,
    client_morning,
    day_review,
    newest_whole_by,
    records_by_day,
    review_of,
    with_folder,
)
from miner.words.cautions import CautionBlocks
from miner.words.said import rules_at_door

if TYPE_CHECKING:
    from miner.ledger import PlanKept
    from miner.page.jobs import Progress
    from miner.records.client import Client
    from miner.render.pages import BriefPage
    from miner.tables.measures import DayRecords
    from miner.tables.unit_table import UnitTable
    from miner.words.document import Parts

T = TypeVar("T")
MOST_CLIENTS = 150
Print = tuple[tuple[str, int, int], ...]


@dataclass
class ClientEntry:
    """One client as read, and what was derived so far."""

    client: Client
    rules: RuleBook
    key: Print
    guard: threading.RLock = field(default_factory=threading.RLock)
    _made: dict[str, Any] = field(default_factory=dict)
    _reviews: dict[tuple[Print, int], DayReview] = field(default_factory=dict)

    @property
    def unit(self) -> str:
        """The unit glucose is shown in."""
        return self.client.settings.display_unit

    @property
    def words(self) -> RuleBook:
        """The rule books in the words of a page."""
        return self._once("words", lambda: rules_at_door(self.rules, "page"))

    @property
    def before(self) -> Parts:
        """The cautions that come before any pattern."""
        return CautionBlocks(self.report().cautions).first()

    def days(self) -> UnitTable:
        """Return the table of days.

        Raises:
            MinerError: a finding of the check stops the work.
        """
        return self._once("days", lambda: steps.days(self.client, self.rules))

    def meals(self) -> UnitTable:
        """Return the table of meals.

        Raises:
            MinerError: a finding of the check stops the work.
        """
        return self._once("meals", lambda: steps.meals(self.client, self.rules))

    def report(self) -> CheckReport:
        """Return the check, of the ledger as it is now."""
        found = self._once("report", lambda: check_records(self.client, self.rules))
        return with_folder(found, self.client)

    def dates(self) -> list[str]:
        """Return the days of the records, oldest first."""
        return [str(day) for day in self.days().frame["date"]]

    def first_day_of_a_test(self) -> str:
        """Return the day a test is proposed to begin: tomorrow, as far as the records let it."""
        after = date.fromisoformat(self.dates()[-1]) + timedelta(days=1)
        tomorrow = date.today() + timedelta(days=1)
        return max(after, min(tomorrow, after + timedelta(days=LATEST_START))).isoformat()

    def paused(self, plans: Iterable[PlanKept]) -> dict[str, list[str]]:
        """Return, by the name of each test that is open, when it had to wait and for what."""
        still = [plan for plan in plans if plan.verdict is None and plan.kept.closed_at is None]
        try:
            told = {one.name: steps.pauses_told(self.client, self.rules, one) for one in still}
        except MinerError:  # what stops the work is told where the records are
            return {}
        return {name: [str(each) for each in said] for name, said in told.items()}

    def review(self, day: str | None) -> DayReview:
        """Return one day; the newest whole one where none is named.

        Raises:
            MinerError: the records hold no such day, or none whole.
        """
        with self.guard:
            return day_review(self.client, day, self.words, known=(self.records(), self.days()))

    def records(self) -> DayRecords:
        """Return the records cut into days.

        Raises:
            MinerError: a finding of the check stops the work.
        """
        return self._once("records", lambda: records_by_day(self.client, self.rules))

    def knows_morning(self, on: date) -> bool:
        """Say whether a morning can be told at once."""
        if any(item.severity is Severity.STOP for item in self.client.findings):
            return True
        if "records" not in self._made:
            return False
        place = newest_whole_by(self.records(), on)
        return place is None or (self._ledger(), place) in self._reviews

    def morning(self, on: date) -> ClientMorning:
        """Return what the newest whole day asks for on a morning."""
        with self.guard:
            book, known = self._ledger(), (self.records(), self.days())

            def review(place: int) -> DayReview:
                if (book, place) not in self._reviews:
                    found = review_of(self.client, self.words, *known, place)
                    self._reviews[book, place] = found
                return self._reviews[book, place]

            return client_morning(self.client, self.rules, on, records=known[0], review=review)

    def _ledger(self) -> Print:
        return _prints([self.client.folder / LEDGER])

    def _once(self, what: str, make: Callable[[], T]) -> T:
        """Return what was made before, or make it; one thread at a time."""
        with self.guard:
            if what not in self._made:
                self._made[what] = make()
            found: T = self._made[what]
            return found


@dataclass(frozen=True, slots=True)
class CachedRanking:
    """A ranking with everything its pages need, the pages made of it, and their figures drawn."""

    key: Print
    brief: Briefing
    include: tuple[str, ...] = ()
    pages: dict[str, str] = field(default_factory=dict)
    drawn: dict[str, BriefPage] = field(default_factory=dict)

    def rankings(self) -> tuple[Ranking, ...]:
        """Return the ranking itself, then that of the meals beside it."""
        made, by_meal = self.brief.ranking, self.brief.by_meal
        return (made,) if by_meal is None else (made, by_meal)

    def chosen(self, ids: list[str]) -> tuple[str, ...]:
        """Return the patterns of these IDs, in the order of their ranking, those by meal last."""
        known = [item.id for ranking in self.rankings() for item in ranking.hypotheses]
        return tuple(id_ for id_ in known if id_ in ids)


class ClientCache:
    """The clients of one practice as read; a file that changes is read again."""

    def __init__(self, practice: Path) -> None:
        self.practice = practice
        self.rankings: dict[str, CachedRanking] = {}
        self._held: OrderedDict[str, tuple[Print, ClientEntry | MinerError]] = OrderedDict()
        self._guard = threading.Lock()
        self._reading: dict[str, threading.Lock] = {}

    def entry(self, folder: Path) -> ClientEntry:
        """Return a client as read.

        Raises:
            MinerError: it cannot be read as it stands.
        """
        name = folder.name
        with self._guard:
            own = self._reading.setdefault(name, threading.Lock())
        with own:
            key, held = self.key(folder), self._held.get(name)
            if held is None or held[0] != key:
                held = key, self._read(folder, key)
            self._held[name] = held
            self._held.move_to_end(name)
            while len(self._held) > MOST_CLIENTS:
                self._held.popitem(last=False)
        if isinstance(held[1], MinerError):
            raise held[1]
        return held[1]

    def known(self, name: str) -> ClientEntry | None:
        """Return a client as it was read last, or None."""
        held = self._held.get(name)
        return held[1] if held is not None and isinstance(held[1], ClientEntry) else None

    def ready(self, folder: Path, on: date | None = None) -> bool:
        """Say whether a client is known as its files are now: read, or not readable.

        Args:
            folder: the client's folder.
            on: a morning that must be known too.
        """
        held = self._held.get(folder.name)
        if held is None or held[0] != self.key(folder):
            return False
        return on is None or isinstance(held[1], MinerError) or held[1].knows_morning(on)

    def key(self, folder: Path) -> Print:
        """Return what tells whether a client's records, settings and rule books are the same."""
        own = [path for path in folder.iterdir() if path.name != LEDGER and path.name[0] != "."]
        rules = self.practice / RULES
        books = sorted(rules.glob("*.toml")) if rules.is_dir() else []
        return _prints([*sorted(own), *(self.practice / name for name in SHARED), *books])

    def last_ranking(self, entry: ClientEntry) -> CachedRanking | None:
        """Return the last ranking of these records in this run of the page, or None."""
        found = self.rankings.get(entry.client.folder.name)
        return found if found is not None and found.key == entry.key else None

    def rank(
        self,
        entry: ClientEntry,
        progress: Progress,
        include: tuple[str, ...] = (),
        trial: str | None = None,
        *,
        lineup: bool = False,
    ) -> CachedRanking:
        """Rank a client's records and keep what was found for as long as the page runs.

        Args:
            entry: the client.
            progress: is told how far it is.
            include: the IDs of the patterns that were chosen to be shown.
            trial: the name of a plan whose dates stand on the page to take home.
            lineup: whether the dots of each choice stand among dots made by luck alone.

        Raises:
            MinerError: the records cannot be ranked as they stand.
        """
        brief = steps.briefing(
            entry.client,
            entry.rules,
            choices=steps.PageChoices(include=include, trial=trial, lineup=lineup, together=True),
            remember=True,
            progress=progress,
        )
        self.rankings[entry.client.folder.name] = made = CachedRanking(entry.key, brief, include)
        return made

    def forget(self, name: str) -> None:
        """Forget everything of one client."""
        self._held.pop(name, None)
        self.rankings.pop(name, None)

    def _read(self, folder: Path, key: Print) -> ClientEntry | MinerError:
        try:
            require_inside(folder, self.practice)
            rules = steps.load_rules(None, folder)
            return ClientEntry(steps.read_client(folder, rules), rules, key)
        except MinerError as error:
            return error


def _prints(paths: list[Path]) -> Print:
    found = []
    for path in paths:
        try:
            told = path.stat()
        except OSError:
            found.append((path.name, -1, -1))
        else:
            found.append((path.name, told.st_mtime_ns, told.st_size))
    return tuple(found)
