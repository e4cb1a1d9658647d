"""What was chosen in a session: every choice is looked at before any is written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from miner import ledger
from miner.caseload.running import Progress
from miner.core.messages import MinerError
from miner.core.results import Hypothesis
from miner.core.results.follow import KEPT_AS, LEAVE, WATCH, ChoicesMade, ChosenIdea
from miner.followup.choosing import read_code, require_possible, standing
from miner.followup.keeping import KeepWish, RankedOn, entry_of
from miner.hypotheses.design import design
from miner.hypotheses.why import every_rule
from miner.ledger import MAX_OPEN, LeftEntry, replay
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.checking import held_of
from miner.steps.client_ledger import ledger_of
from miner.steps.following import drop
from miner.steps.opening import last_day, opened, table_of
from miner.steps.ranking import rank
from miner.steps.story import chosen_now


@dataclass(frozen=True, slots=True)
class Wished:
    """One choice that is to be written: what it is of, and in which unit that is."""

    id: str
    choice: str
    factors: tuple[str, ...]
    outcome: str
    unit: str


def choose(
    client: Client,
    wishes: Mapping[str, str],
    rules: RuleBook | None = None,
    *,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> ChoicesMade:
    """Write what was chosen of patterns; what is chosen already is not written again.

    A pattern that is chosen again is given up first, or taken up again where it was left.

    Args:
        client: as read; where something is kept the present records are ranked.
        wishes: ID of a pattern -> test, anyway, watch or leave.
        rules: the rule books.
        now: time of the ledger's entries.
        progress: told what is being done and the share done.

    Raises:
        MinerError: one of them cannot be chosen, and then none is written: there is no such
            pattern or choice, it must not be tested or done, its test is planned already, or more
            than three ideas would be open. Or the ledger cannot be written.
    """
    client, books = opened(client, rules)
    last = last_day(client, books)
    before = chosen_now(client, last=last)
    new = {
        id_: choice
        for id_, choice in wishes.items()
        if id_ not in before or before[id_].choice != choice
    }
    _require_room(before, new)
    wished = _wished(client, books, new)
    payloads = list(_payloads(client, books, wished, now, progress))
    whose = ledger.whose(client.settings.code, client.folder)
    for item in wished:  # first, as it makes room
        if item.id in before and before[item.id].choice != LEAVE:
            drop(client, item.id, now=now)
    numbers = []
    for item, payload in zip(wished, payloads, strict=True):
        kind = "left" if item.choice == LEAVE else "kept"
        numbers.append(ledger.append(client.folder, kind, payload | whose, now).n)
    story = replay(ledger_of(client).book)
    if story.refused & set(numbers):
        raise MinerError("steps.chosen_meanwhile")
    after = standing(story, last)
    made = tuple(after[item.id] for item in wished)
    return ChoicesMade(client.settings.code, made, after)


def choose_by_code(
    client: Client,
    codes: Sequence[str],
    rules: RuleBook | None = None,
    *,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> ChoicesMade:
    """Write what was chosen on an exported page, by the short codes it shows.

    Raises:
        MinerError: as of ``choose``; or a code cannot be read, or two are of one pattern.
    """
    client, books = opened(client, rules)
    ids = {id_ for _, id_, _, _ in _every_pattern(client, books)}
    wishes: dict[str, str] = {}
    for code in codes:
        id_, choice = read_code(code, client.settings.code, ids)
        if wishes.setdefault(id_, choice) != choice:
            raise MinerError("steps.two_codes_of_one", codes=list(codes), id=id_)
    return choose(client, wishes, books, now=now, progress=progress)


def undo_choice(client: Client, id_: str, *, now: datetime | None = None) -> ChosenIdea:
    """Write what takes a choice back: nothing is erased. Return it with no choice.

    Raises:
        MinerError: nothing of that ID is chosen, its test is planned already, or the ledger
            cannot be written.
    """
    stands = chosen_now(client).get(id_)
    if stands is None:
        raise MinerError("steps.not_chosen", id=id_)
    _require_unplanned(stands)
    if stands.choice == LEAVE:
        whose = ledger.whose(client.settings.code, client.folder)
        ledger.append(client.folder, "taken_up", {"id": id_} | whose, now)
    else:
        drop(client, id_, now=now)
    return ChosenIdea(id_, "", stands.on, stands.factors, stands.outcome, stands.unit_of)


def _require_room(before: Mapping[str, ChosenIdea], new: Mapping[str, str]) -> None:
    strange = next((choice for choice in new.values() if choice not in KEPT_AS), None)
    if strange is not None:
        raise MinerError("steps.no_such_choice", choice=strange[:20], choices=list(KEPT_AS))
    for id_ in new:
        if id_ in before:
            _require_unplanned(before[id_])
    after = {id_: item.choice for id_, item in before.items()} | dict(new)
    is_open = [id_ for id_, choice in after.items() if choice != LEAVE]
    if len(is_open) > MAX_OPEN and any(choice != LEAVE for choice in new.values()):
        raise MinerError("steps.too_many_open", count=len(is_open), most=MAX_OPEN)


def _require_unplanned(stands: ChosenIdea) -> None:
    if stands.planned:
        raise MinerError("steps.test_is_planned", id=stands.id)


def _every_pattern(
    client: Client, rules: RuleBook
) -> Iterator[tuple[str, str, tuple[str, ...], str]]:
    """Yield the unit, ID, habits and outcome of every pattern, the practice's own unit first."""
    own = client.settings.rank_unit
    for unit in (own, "meal" if own == "day" else "day"):
        for id_, target, items in every_rule(design(table_of(client, rules, unit), rules)):
            yield unit, id_, tuple(item.factor for item in items), target.name


def _wished(client: Client, rules: RuleBook, new: Mapping[str, str]) -> list[Wished]:
    """Return what is to be written, in the order it was asked for.

    Raises:
        MinerError: there is no pattern of an ID.
    """
    found: dict[str, Wished] = {}
    for unit, id_, factors, outcome in _every_pattern(client, rules) if new else ():
        if id_ in new:
            found.setdefault(id_, Wished(id_, new[id_], factors, outcome, unit))
    unknown = next((id_ for id_ in new if id_ not in found), None)
    if unknown is not None:
        raise MinerError("steps.no_hypothesis", id=unknown[:20], close=None)
    return [found[id_] for id_ in new]


def _payloads(
    client: Client,
    rules: RuleBook,
    wished: Sequence[Wished],
    now: datetime | None,
    progress: Progress | None,
) -> Iterator[dict[str, object]]:
    """Yield what is written of each choice; all that may refuse it is asked here."""
    last, past = last_day(client, rules), ledger_of(client)
    held = held_of(client, rules)
    watched = {item.id for item in replay(past.book).open_on(last) if item.as_ == WATCH}
    watched -= {item.id for item in wished}
    together = len(watched) + sum(item.choice == WATCH for item in wished)
    seen = past.seen_to(last or "")
    sources: dict[str, RankedOn] = {}
    for unit in {item.unit for item in wished if item.choice != LEAVE}:
        ranking = rank(
            client, rules, unit=unit, remember=True, now=now, together=False, progress=progress
        )
        sources[unit] = RankedOn(client, rules, ranking, table_of(client, rules, unit))
    for item in wished:
        if item.choice == LEAVE:
            left = {"factors": item.factors, "outcome": item.outcome, "unit_of": item.unit}
            yield LeftEntry.read(left | {"id": item.id, "records_last_day": last}).payload()
            continue
        source = sources[item.unit]
        ranked: Hypothesis = source.find(item.id)
        require_possible(item.choice, ranked, item.unit, rules, held)
        wish = KeepWish(KEPT_AS[item.choice])
        entry = entry_of(source, ranked, wish, seen_to=seen, together=max(together, 1))
        yield entry.payload()
