"""Questions written down before the records."""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from miner import ledger
from miner.api.past import folder_of, read_past
from miner.api.steps import load_rules
from miner.errors import MinerError
from miner.records.client import Client
from miner.records.settings import read_settings
from miner.rulebook import RuleBook


def fix_question(
    client: Client | Path,
    factor: str,
    outcome: str,
    rules: RuleBook | None = None,
    *,
    guess: str | None = None,
    fixed_on: date | None = None,
    now: datetime | None = None,
) -> tuple[str, ...]:
    """Write one question to the ledger, to be judged on days that start after it was fixed.

    Args:
        client: as read, or a client folder that holds no records yet.
        factor: a factor's name.
        outcome: an outcome's name.
        rules: the rule books.
        guess: "up", "down" or None.
        fixed_on: when it was fixed on paper; shown as told, not proven.
        now: time of the entry; by default the clock's.

    Returns:
        Notes for the person who fixed it.

    Raises:
        MinerError: a name is unknown, the two can never meet, the date lies ahead, or the
            question is fixed already.
    """
    folder = folder_of(client)
    books = rules or load_rules(None, folder)
    moment = now or datetime.now(UTC)
    today = _day_there(client, moment)
    _require_pair(books, factor, outcome)
    unit = books.unit_of(factor, outcome)
    name = outcome.removeprefix(f"{unit}.")
    if fixed_on is not None and fixed_on > today:
        raise MinerError(
            f"{fixed_on.isoformat()} lies ahead", f"a date up to {today.isoformat()}",
            "Correct --fixed-on.",
        )  # fmt: skip
    past = read_past(client)
    known = {item: each for each in ("day", "meal") for item in past.questions(books, each)}
    if any((k.factor, k.outcome, u) == (factor, name, unit) for k, u in known.items()):
        raise MinerError(
            f"'{factor}' and '{outcome}' is fixed already", "a new question",
            "Run 'miner ask' without --fix to see its answer.",
        )  # fmt: skip
    day = fixed_on or today
    payload = {
        "factor": factor, "outcome": books.key_of(name, unit), "guess": guess,
        "fixed_on": day.isoformat(), "proven": fixed_on is None,
    }  # fmt: skip
    ledger.append(folder, "fixed", payload, moment)
    looked = past.seen_after(day.isoformat(), sys.maxsize)
    return (*_advice(len(known) + 1, told=fixed_on is not None, looked=looked), *past.notes)


def fixed_questions(client: Client | Path) -> tuple[ledger.Question, ...]:
    """Return the questions fixed so far, in the order in which they were written down."""
    return ledger.questions(read_past(client).book)


def _day_there(client: Client | Path, moment: datetime) -> date:
    """Return the date where the client lives, else where this computer stands."""
    settings = client.settings if isinstance(client, Client) else read_settings(client, None)
    zone = settings.time_zone
    return moment.astimezone(ZoneInfo(zone) if zone else None).date()


def _require_pair(rules: RuleBook, factor: str, outcome: str) -> None:
    unit = rules.unit_of(factor, outcome)
    rule = rules.factor(factor, unit)
    target = rules.outcome(outcome.removeprefix(f"{unit}."), unit)
    if rule.unit != target.unit or target.window not in rule.lag:
        raise MinerError(
            f"'{factor}' neither comes before nor goes with '{outcome}'",
            "a factor whose time lies before the outcome's, or in the same day",
            "See 'lag' in factors.toml, or choose another outcome.",
        )


def _advice(count: int, *, told: bool, looked: bool) -> list[str]:
    notes = []
    if told:
        notes.append("The date is shown as told, not proven.")
    if looked:
        notes.append("Later days had been ranked already: the answer is a hint at most.")
    if count < 3:
        notes.append(f"{count} fixed so far. Three to five are advised.")
    if count > 5:
        notes.append(f"{count} fixed so far. Three to five are advised: more weaken each other.")
    return notes
