"""Questions written down before the records."""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from miner import ledger
from miner.caseload.store import pooled_before
from miner.core.messages import Message, MinerError, Words, by_rules, message
from miner.followup.refusals import names_medicine
from miner.hypotheses.design import identity_in_rules
from miner.records.client import Client, Settings
from miner.records.synonyms import standing_for, words_behind
from miner.rulebook import RuleBook
from miner.steps.client_ledger import folder_of, ledger_of, settings_of
from miner.steps.opening import read_client, require_shape, rules_of

EARLIEST = 2000


def fix_question(
    client: Client | Path,
    factor: str,
    outcome: str,
    rules: RuleBook | None = None,
    *,
    guess: str | None = None,
    fixed_on: date | None = None,
    shape: str | None = None,
    now: datetime | None = None,
) -> tuple[Words, ...]:
    """Write one question to the ledger, to be judged on days that start after it was fixed.

    Args:
        client: as read, or a client folder that holds no records yet.
        factor: a factor's name.
        outcome: an outcome's name.
        rules: the rule books.
        guess: "up", "down" or None; a guess makes the test one-sided.
        fixed_on: when it was fixed on paper; shown as told, not proven.
        shape: "cut" or "dose"; None tests both.
        now: time of the entry; by default the clock's.

    Returns:
        Notes for the person who fixed it.

    Raises:
        MinerError: a name is unknown or names a medicine, the two can never meet, the date
            is ahead or long ago, or the question is fixed already.
    """
    folder = folder_of(client)
    books = rules_of(folder, rules)
    settings = settings_of(client)
    moment = now or datetime.now(UTC)
    zone = settings.time_zone
    today = moment.astimezone(ZoneInfo(zone) if zone else None).date()
    _require_no_medicine(books, factor, settings)
    factor = standing_for(factor, settings)
    _require_pair(books, factor, outcome)
    unit = books.unit_of(factor, outcome)
    require_shape(books, factor, unit, shape)
    name = outcome.removeprefix(f"{unit}.")
    _require_past(fixed_on, today)
    past = ledger_of(client)
    known = {item: each for each in ("day", "meal") for item in past.questions(books, each)}
    if any((k.factor, k.outcome, u) == (factor, name, unit) for k, u in known.items()):
        habit = by_rules(books, "labels.factor", name=factor, unit=unit)
        label = by_rules(books, "labels.outcome", name=name, unit=unit)
        raise MinerError(
            "steps.fixed_already", factor=factor, outcome=outcome, habit=habit, label=label
        )
    day = fixed_on or today
    behind = _clock_behind(client, today)
    payload = {
        "factor": factor,
        "outcome": books.key_of(name, unit),
        "guess": guess,
        "fixed_on": day.isoformat(),
        "proven": fixed_on is None and not behind,
        "id": identity_in_rules(factor, name, unit, books),
        "range": list(settings.range),
        "words": list(words_behind(factor, settings)),
        "shape": shape,
        **ledger.whose(settings.code, folder),
        "looked": day < today and pooled_before(folder.resolve().parent, folder.resolve().name),
    }
    ledger.append(folder, "fixed", payload, moment)
    looked = bool(payload["looked"]) or past.seen_after(day.isoformat(), sys.maxsize)
    advice = _advice(len(known) + 1, told=fixed_on is not None, looked=looked)
    return (*behind, *advice, *past.notes)


def fixed_questions(client: Client | Path) -> tuple[ledger.FixedQuestion, ...]:
    """Return the questions fixed so far, in the order in which they were written down."""
    return ledger_of(client).asked()


def _require_no_medicine(rules: RuleBook, factor: str, settings: Settings) -> None:
    name = standing_for(factor, settings)
    behind = words_behind(name, settings)
    if any(names_medicine(name, rules) for name in (factor, name, *behind)):
        raise MinerError("steps.names_medicine", factor=factor)


def _require_past(fixed_on: date | None, today: date) -> None:
    if fixed_on is None or date(EARLIEST, 1, 1) <= fixed_on <= today:
        return
    code = "steps.fixed_ahead" if fixed_on > today else "steps.fixed_long_ago"
    raise MinerError(code, day=fixed_on, first=EARLIEST, today=today)


def _clock_behind(client: Client | Path, today: date) -> tuple[Message, ...]:
    """Report records dated after today: then the clock of the computer proves no date."""
    try:
        read = client if isinstance(client, Client) else read_client(client)
    except MinerError:
        return ()
    frames = (read.streams[name] for name in ("glucose", "meals"))
    days = [str(frame["clock"].max())[:10] for frame in frames if len(frame)]
    last = max(days, default="")
    if last <= today.isoformat():
        return ()
    return (message("steps.clock_behind", last=last),)


def _require_pair(rules: RuleBook, factor: str, outcome: str) -> None:
    unit = rules.unit_of(factor, outcome)
    rule = rules.factor(factor, unit)
    target = rules.outcome(outcome.removeprefix(f"{unit}."), unit)
    if rule.unit != target.unit or target.window not in rule.lag:
        raise MinerError("steps.never_meet", factor=factor, outcome=outcome)


def _advice(count: int, *, told: bool, looked: bool) -> list[Message]:
    notes = []
    if told:
        notes.append(message("steps.date_as_told"))
    if looked:
        notes.append(message("steps.ranked_after_it"))
    if count < 3:
        notes.append(message("steps.few_fixed", count=count))
    if count > 5:
        notes.append(message("steps.many_fixed", count=count))
    return notes
