"""What the ledger knows of earlier looks at the records and of questions fixed before them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from miner import ledger
from miner.core.messages import Message, MinerError, Words, message
from miner.core.period import Period
from miner.core.results import Hypothesis, Severity
from miner.hypotheses.design import Question, identity_in_rules
from miner.hypotheses.fixed import DEFINED_OTHERWISE, LOOKED, LOOKS_LOST, REWORDED
from miner.ledger import Event, Ledger, replay
from miner.records.check.one_person import clock_prints
from miner.records.client import Client, Settings
from miner.records.read.discover import practice_of
from miner.records.read.settings import read_settings
from miner.records.synonyms import as_merged, standing_for, words_behind
from miner.rulebook import RuleBook


@dataclass(frozen=True, slots=True)
class ClientLedger:
    """The ledger of one client, and what of it could not be trusted or read.

    Attributes:
        range: the client's glucose range now, mg/dL; None where it is not known yet.
        settings: the client's, for the words that are merged now.
        prints: of the readings of each day, whatever its date, by ISO date.
    """

    book: Ledger
    notes: tuple[Words, ...]
    range: tuple[float, float] | None = None
    settings: Settings | None = None
    prints: Mapping[str, str] = field(default_factory=dict)

    def asked(self) -> tuple[ledger.FixedQuestion, ...]:
        """Return the fixed questions under the names that the tables have now.

        Two that became one since their words were merged are one, the first.
        """
        found: dict[tuple[str, str], ledger.FixedQuestion] = {}
        for item in ledger.questions(self.book):
            factor = standing_for(item.named, self.settings) if self.settings else item.named
            found.setdefault((factor, item.outcome), replace(item, factor=factor))
        return tuple(found.values())

    def questions(self, rules: RuleBook, unit: str) -> tuple[Question, ...]:
        """Return the fixed questions of one unit, each with what makes it a hint at most."""
        return tuple(
            Question(
                item.factor,
                item.outcome.removeprefix(f"{unit}."),
                item.guess,
                item.fixed_on,
                item.proven,
                self._doubt(item, rules, unit),
                item.shape,
                frozenset(self.seen_before(item.n)),
            )
            for item in self.asked()
            if rules.unit_of(item.factor, item.outcome) == unit
        )

    def share(self, rules: RuleBook, unit: str) -> float:
        """Return the part of the claim level of fixed questions that those of one unit have."""
        own = len(self.questions(rules, unit))
        return own / len(self.asked()) if own else 1.0

    def _doubt(self, item: ledger.FixedQuestion, rules: RuleBook, unit: str) -> Message | None:
        if item.looked or self.seen_after(item.fixed_on, item.n):
            return LOOKED
        if item.lost and not item.proven:
            return LOOKS_LOST
        name = item.outcome.removeprefix(f"{unit}.")
        try:
            now = identity_in_rules(item.named, name, unit, rules)
            by_range = "range" in rules.outcome(name, unit).definition
        except (MinerError, KeyError):
            return None
        moved = by_range and None not in (self.range, item.range) and self.range != item.range
        if moved or item.id not in (None, now):
            return DEFINED_OTHERWISE
        return REWORDED if self._reworded(item) else None

    def _reworded(self, item: ledger.FixedQuestion) -> bool:
        """Say whether other words count as the factor now, and were not so at the first look.

        Words that were merged before anybody had looked at later days cannot have been chosen by
        what those days showed.
        """
        if self.settings is None or item.words is None:
            return False
        words = words_behind(item.factor, self.settings)
        if words == item.words:
            return False
        first = self.looked_since(item)
        if first is None:
            return False
        then = as_merged(self.settings, first.payload)
        return words_behind(standing_for(item.named, then), then) != words

    def looked_since(self, item: ledger.FixedQuestion) -> Event | None:
        """Return the first look after a question was fixed that saw later days, or None."""
        return self.first_look(item.n, item.fixed_on)

    def first_look(self, after_entry: int, day: str) -> Event | None:
        """Return the first look after an entry that saw days after one day, or None."""
        for event in self._looks():
            if event.n > after_entry and str(event.payload.get("last_day") or "") > day:
                return event
        return None

    def seen_from(self, day: str) -> bool:
        """Say whether any look had seen that day, or a later one."""
        return any(str(event.payload.get("last_day") or "") >= day for event in self._looks())

    def seen_to(self, last: str) -> str:
        """Return the last day that the records or any look at them hold; no day of it is new."""
        days = [str(event.payload.get("last_day")) for event in self._looks()]
        return max([last, *(day for day in days if ledger.is_day(day))])

    def seen_after(self, day: str, before_entry: int) -> bool:
        """Say whether a look before that entry had seen days after that day."""
        return any(
            event.n < before_entry and str(event.payload.get("last_day") or "") > day
            for event in self._looks()
        )

    def rankings(self, since: str) -> tuple[Event, ...]:
        """Return the different rankings that had seen days from that one on."""
        return ledger.rankings(self.book, since)

    def ranked_first_by(self, since: str) -> str | None:
        """Return the unit by which those days were ranked first, second looks left out."""
        for event in self.rankings(since):
            if not event.payload.get("second_look"):
                return str(event.payload.get("unit"))
        return None

    def other_primary(self, since: str, unit: str, primary: str | None) -> str | None:
        """Return the primary outcome of an earlier ranking of those days where it was another."""
        for event in self.rankings(since):
            before = event.payload.get("primary_outcome")
            if event.payload.get("unit") == unit and before not in (None, primary):
                return str(before)
        return None

    def marked(self, found: Sequence[Hypothesis]) -> tuple[Hypothesis, ...]:
        """Return hypotheses, each that was tried before with how that ended."""
        story = replay(self.book)
        tried = {item.id: item.ended for item in story.kept if item.verdict is not None}
        return tuple(replace(item, tried_before=tried.get(item.id)) for item in found)

    def left_out_late(self, client: Client) -> tuple[str, ...]:
        """Return days left out now that an earlier look had seen and not left out, ISO."""
        looks = [event for event in self._looks() if "left_out" in event.payload]
        late = []
        for item in client.settings.left_out:
            day = item.day.isoformat()
            if any(day not in event.listed("left_out") and _saw(event, day) for event in looks):
                late.append(day)
        return tuple(sorted(set(late)))

    def gone(
        self, client: Client, unit: str, used: Sequence[str], period: Period
    ) -> tuple[str, ...]:
        """Return days an earlier ranking had used that are not usable now, nor left out, ISO.

        Args:
            client: as read.
            unit: "day" or "meal".
            used: ISO dates used now.
            period: the days asked for.
        """
        left_out = {item.day.isoformat() for item in client.settings.left_out}
        before = {
            str(day)
            for event in ledger.named(self.book, "ranked")
            if event.payload.get("unit") == unit
            for day in event.listed("days")
            if str(day) in period
        }
        return tuple(sorted(before - set(used) - left_out))

    def first_hashes(self, version: str) -> dict[str, str]:
        """Return the hash of each day at the first look that saw it, by ISO date."""
        first: dict[str, str] = {}
        for event in self._looks():
            kept = event.payload.get("day_hashes")
            if isinstance(kept, dict) and event.payload.get("version") == version:
                first = {str(day): str(mark) for day, mark in kept.items()} | first
        return first

    def seen_before(self, entry: int) -> dict[str, str]:
        """Return days whose readings had been seen under another date, with that date.

        Args:
            entry: looks before the entry of that number count.
        """
        noted: dict[str, str] = {}
        for event in self._looks():
            kept = event.payload.get("readings")
            if event.n < entry and isinstance(kept, dict):
                noted = {str(mark): str(day) for day, mark in kept.items()} | noted
        return {
            day: noted[mark]
            for day, mark in sorted(self.prints.items())
            if noted.get(mark, day) != day
        }

    def _looks(self) -> tuple[Event, ...]:
        return tuple(event for event in self.book.events if event.event in ledger.LOOKS)


def _saw(event: Event, day: str) -> bool:
    last = str(event.payload.get("last_day") or "")
    return day == last if event.payload.get("what") == "day" else day <= last


def ledger_of(client: Client | Path) -> ClientLedger:
    """Read the ledger of a client or of a client folder; what is wrong with it is reported."""
    book = ledger.read(folder_of(client))
    limits, prints = None, {}
    if isinstance(client, Client):
        limits, prints = client.settings.range, clock_prints(client)
    try:
        settings = settings_of(client)
    except MinerError:
        settings = None
    if settings is not None:
        book = ledger.owned(book, settings.code)
    notes = tuple(
        message(
            "steps.ledger_problem_in_row" if item.row else "steps.ledger_problem",
            row=item.row,
            what=item.what,
            do=item.do,
        )
        for item in book.problems
        if item.severity is not Severity.NOTE
    )
    return ClientLedger(book, notes, limits, settings, prints)


def settings_of(client: Client | Path) -> Settings:
    """Return the settings of a client, as read or of a folder whose records are not read.

    Raises:
        MinerError: a file of settings cannot be used.
    """
    if isinstance(client, Client):
        return client.settings
    return read_settings(client, practice_of(client, None))


def folder_of(client: Client | Path) -> Path:
    """Return the folder of a client, given either."""
    return client if isinstance(client, Path) else client.folder
