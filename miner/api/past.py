"""What the ledger knows of earlier rankings and of questions fixed before the records."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from miner import ledger
from miner.followup.story import tell
from miner.hypotheses.fixed import Question
from miner.ledger import Ledger
from miner.records.client import Client
from miner.results import Evidence, Hypothesis, Ranking, Severity
from miner.rulebook import RuleBook


@dataclass(frozen=True, slots=True)
class Past:
    """The ledger of one client, and what of it could not be trusted or read."""

    book: Ledger
    notes: tuple[str, ...]

    def questions(self, rules: RuleBook, unit: str) -> tuple[Question, ...]:
        """Return the fixed questions of one unit; one a ranking had already seen is marked so."""
        return tuple(
            Question(
                item.factor, item.outcome.removeprefix(f"{unit}."), item.guess, item.fixed_on,
                item.proven, looked=self.seen_after(item.fixed_on, item.n),
            )
            for item in ledger.questions(self.book)
            if rules.unit_of(item.factor, item.outcome) == unit
        )  # fmt: skip

    def seen_after(self, day: str, before_entry: int) -> bool:
        """Say whether a ranking before that entry had seen days after that day."""
        return any(
            event.n < before_entry and str(event.payload.get("last_day") or "") > day
            for event in ledger.named(self.book, "ranked")
        )

    def rankings(self, records_hash: str) -> int:
        """Return how many different rankings of these records the ledger holds."""
        return len(ledger.rankings(self.book, records_hash))

    def marked(self, found: Sequence[Hypothesis]) -> tuple[Hypothesis, ...]:
        """Return hypotheses, each that was tried before with how that ended."""
        story = tell(self.book)
        tried = {item.id: item.ended for item in story.kept if item.verdict is not None}
        return tuple(replace(item, tried_before=tried.get(item.id)) for item in found)

    def left_out_late(self, client: Client) -> tuple[str, ...]:
        """Return days left out now that an earlier ranking had still used, ISO."""
        ranked = ledger.named(self.book, "ranked")
        late = []
        for item in client.settings.left_out:
            day = item.day.isoformat()
            if any(
                day not in event.listed("left_out")
                and day <= str(event.payload.get("last_day") or "")
                for event in ranked
            ):
                late.append(day)
        return tuple(sorted(set(late)))


def read_past(client: Client | Path) -> Past:
    """Read the ledger of a client or of a client folder; what is wrong with it is told."""
    book = ledger.read(folder_of(client))
    notes = tuple(
        f"ledger.jsonl, row {item.row}: {item.what}. {item.do}"
        for item in book.problems
        if item.severity is not Severity.NOTE
    )
    return Past(book, notes)


def folder_of(client: Client | Path) -> Path:
    """Return the folder of a client, given either."""
    return client if isinstance(client, Path) else client.folder


def remember_ranking(
    client: Client, ranking: Ranking, first: str | None, last: str | None, now: datetime | None
) -> tuple[int, tuple[str, ...]]:
    """Write that these records were ranked; return how many rankings of them there are, and notes.

    A ranking with the same rules, dates, seed, draws and days left out is not counted again. A
    folder that cannot be written is told.
    """
    past = read_past(client)
    left_out = sorted(item.day.isoformat() for item in client.settings.left_out)
    payload = {
        "records_hash": ranking.records_hash,
        "rules_hash": ranking.rules_hash,
        "seed": ranking.seed,
        "draws": ranking.draws,
        "unit": ranking.unit,
        "first": first,
        "last": last,
        "left_out_hash": hashlib.sha256("\n".join(left_out).encode()).hexdigest()[:16],
        "left_out": left_out,
        "last_day": ranking.to_day,
        "version": ranking.version,
        "shown": [
            {"id": item.id, "evidence": str(item.evidence)}
            for item in ranking.hypotheses
            if item.evidence in (Evidence.CLEAR, Evidence.HINT)
        ],
    }
    known = ledger.rankings(past.book, ranking.records_hash)
    same = [
        event for event in known if all(event.payload.get(k) == payload[k] for k in ledger.SETTINGS)
    ]
    if same:
        return len(known), past.notes
    try:
        ledger.append(client.folder, "ranked", payload, now or datetime.now(UTC))
    except ledger.LedgerUnwritable as error:
        told = f"This ranking could not be written to the ledger: {error.found}."
        return len(known) + 1, (*past.notes, told)
    return len(known) + 1, past.notes
