"""One question, what is behind an answer, and how often the analysis would be wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from miner.caseload.running import Progress
from miner.caseload.store import practice_spreads
from miner.core.messages import Message, MinerError, Words, by_rules, message
from miner.core.results import ErrorRate, Evidence, Hypothesis, Wording, worded
from miner.core.results.why import Why
from miner.hypotheses.design import Question, Run
from miner.hypotheses.error_rate import error_rate as _error_rate
from miner.hypotheses.fixed import LOOKED
from miner.hypotheses.rank import RankingRequest, ask_table, rank_table
from miner.hypotheses.why import why_table
from miner.records.client import Client
from miner.records.synonyms import standing_for
from miner.rulebook import RuleBook
from miner.steps.client_ledger import ClientLedger, ledger_of
from miner.steps.looks import (
    LAST,
    SEEN,
    Looked,
    as_first_seen,
    days_used,
    first_of,
    remember_look,
    since,
)
from miner.steps.opening import (
    MIN_DRAWS,
    opened,
    require_shape,
    seed_of,
    table_of,
    whole_number,
    word,
)
from miner.steps.ranking import Spreads, primary_of
from miner.tables.unit_table import UnitTable

MOST = 100_000


def ask(
    client: Client | Path | str,
    factor: str,
    outcome: str,
    rules: RuleBook | Path | str | None = None,
    *,
    shape: str | None = None,
    spreads: Spreads | None = None,
    remember: bool = False,
    now: datetime | None = None,
) -> Hypothesis:
    """Answer one question; one that was not fixed before these records is a hint at most.

    One that was is judged together with all others that were, as in a ranking. One that was not is
    written to the ledger as looked at.

    Args:
        client: as read, or its folder.
        factor: a factor's name.
        outcome: an outcome's name; of one that days and meals have, ``meal.`` before it asks
            for meals.
        rules: the rule books; by default those that apply to the client's folder.
        shape: "cut" or "dose" of a question that was not fixed; by default the stronger. A fixed
            question has the shape it was fixed with.
        spreads: (factor, outcome) -> spread of true effects found across clients; by default
            what the last caseload of the practice found.
        remember: write to the client's ledger that this was looked at.
        now: time of the ledger's entry; by default the clock's.

    Raises:
        MinerError: a name is unknown, or the two never meet.

    Example:
        >>> answer = miner.ask(client, "short_sleep", "wake_glucose")
        >>> answer.evidence.value, answer.counts.with_
        ('hint', 15)
        >>> answer.to_frame().attrs["units"]["difference"]
        'mg/dL'
    """
    client, books = opened(client, rules)
    factor = standing_for(word("factor", factor), client.settings)
    unit = books.unit_of(factor, word("outcome", outcome))
    require_shape(books, factor, unit, shape)
    name = outcome.removeprefix(f"{unit}.")
    past = ledger_of(client)
    family = past.questions(books, unit)
    fixed = [item for item in family if (item.factor, item.outcome) == (factor, name)]
    across = practice_spreads(client.folder, unit) if spreads is None else spreads
    table = table_of(client, books, unit)
    if fixed and fixed[0].doubt is None:
        share = past.share(books, unit)
        found = ask_table(table, books, fixed[0], family=family, share=share, spreads=across)
    else:
        question = fixed[0] if fixed else Question(factor, name, doubt=LOOKED, shape=shape)
        found = _searched(client, table, books, question, across)
    seen = days_used(table)
    ranked = past.rankings(first_of(seen))
    looked = (message("steps.had_looked"),) if ranked and not found.fixed_before else ()
    notes: tuple[Words, ...] = (*found.notes, *looked, *past.notes)
    if fixed:
        notes += _changes(client, past, books, fixed[0], unit)
    if remember:
        notes += remember_look(client, past, Looked("ask", unit, seen, (factor,), name), now)
    if shape and fixed and fixed[0].shape != shape:
        notes += (by_rules(books, "wording.fixed.shape_stays"),)
    days = int(table.frame["date"].nunique())
    wording = Wording(books, client.settings.display_unit, unit, days)
    return worded(replace(found, notes=notes), wording)


def _changes(
    client: Client, past: ClientLedger, rules: RuleBook, question: Question, unit: str
) -> tuple[Message, ...]:
    """Tell what was changed of later days since somebody had looked at them."""
    entry = next(
        item.n
        for item in past.asked()
        if item.factor == question.factor and item.outcome == rules.key_of(question.outcome, unit)
    )
    found = since(client, past, question.fixed_on or "", LAST, entry)
    without = None
    if found.left_out and question.doubt is None:
        table = table_of(as_first_seen(client, found.left_out), rules, unit)
        family, share = past.questions(rules, unit), past.share(rules, unit)
        other = ask_table(table, rules, question, family=family, share=share)
        without = by_rules(rules, "labels.evidence", level=other.evidence)
    return found.messages(rules, without, unit)


def _searched(
    client: Client, table: UnitTable, rules: RuleBook, question: Question, spreads: Spreads
) -> Hypothesis:
    """Return the answer as the search gives it: its interval and its luck, a hint at most."""
    alone = ask_table(table, rules, question, spreads=spreads)
    wanted = RankingRequest(
        primary=primary_of(client, rules, table.unit),
        spreads=spreads,
        questions=[question] if question.shape else [],
    )
    ranked = rank_table(table, rules, wanted)
    for item in ranked.hypotheses:
        if item.factors == (question.factor,) and item.outcome == question.outcome:
            level = Evidence.HINT if item.evidence is Evidence.CLEAR else item.evidence
            fixed = question.fixed_on is not None
            part = "primary" if item.outcome == ranked.primary_outcome else "search"
            return replace(
                item,
                rank=1,
                evidence=level,
                family="fixed" if fixed else part,
                fixed_before=False,
                fixed_on=question.fixed_on,
                guess=question.guess,
                fixed_proven=question.proven if fixed else None,
                notes=tuple(dict.fromkeys((*item.notes, question.doubt or LOOKED))),
            )
    return alone


def why(
    client: Client | Path | str,
    id_: str,
    rules: RuleBook | Path | str | None = None,
    *,
    table: UnitTable | None = None,
    remember: bool = False,
    now: datetime | None = None,
) -> Why:
    """Return every unit behind a hypothesis, with the file and row of each value.

    Args:
        client: as read, or its folder.
        id_: as a ranking prints it.
        rules: the rule books.
        table: the client's table that has it, where it is there already.
        remember: write to the client's ledger that this was looked at.
        now: time of the ledger's entry; by default the clock's.

    Raises:
        MinerError: no rule of these records has that ID.

    Example:
        >>> behind = miner.why(client, miner.ask(client, "short_sleep", "wake_glucose").id)
        >>> table = behind.to_frame().set_index("unit")
        >>> table.loc["2026-01-13", "short_sleep_from"]
        'sleep.csv:3'
    """
    client, books = opened(client, rules)
    if table is not None:
        found = why_table(table, books, id_, client.settings.code)
    else:
        table, found = _in_either(client, books, word("the ID", id_))
    past = ledger_of(client)
    if remember:
        look = Looked("why", table.unit, days_used(table), found.factors, found.outcome)
        remember_look(client, past, look, now)
    return _answered(found, table, books, past)


def _answered(found: Why, table: UnitTable, rules: RuleBook, past: ClientLedger) -> Why:
    """Add how large the difference of a single habit is, where that is known.

    Where a question that was fixed before can be answered, it has the days that answer it. Until
    then the days are those of what the search found, which a ranking lists next to the question.
    """
    if len(found.factors) > 1:
        return found
    pair = found.factors[0], found.outcome
    family, share = past.questions(rules, found.unit), past.share(rules, found.unit)
    for question in family:
        if (question.factor, question.outcome) == pair and question.doubt is None:
            answer = ask_table(table, rules, question, family=family, share=share)
            if answer.difference is not None:
                own = _since_fixed(found, table, question)
                return replace(own, difference=answer.difference, per=answer.per)
    answer = ask_table(table, rules, Question(*pair, doubt=LOOKED))
    return replace(found, difference=answer.difference, per=answer.per)


def _in_either(client: Client, rules: RuleBook, id_: str) -> tuple[UnitTable, Why]:
    """Return the table that has an ID, the practice's own unit first, and the units behind it."""
    first, second = sorted(("day", "meal"), key=lambda unit: unit != client.settings.rank_unit)
    table = table_of(client, rules, first)
    try:
        return table, why_table(table, rules, id_, client.settings.code)
    except MinerError:
        table = table_of(client, rules, second)
        return table, why_table(table, rules, id_, client.settings.code)


def error_rate(
    client: Client | Path | str,
    rules: RuleBook | Path | str | None = None,
    *,
    worlds: int = 200,
    draws: int = 1000,
    seed: int = 0,
    workers: int = 1,
    progress: Progress | None = None,
) -> ErrorRate:
    """Return how often this analysis would claim something on months like this client's.

    Args:
        client: as read, or its folder.
        rules: the rule books.
        worlds: simulated months in which nothing is true.
        draws: permutations a month.
        seed: of everything drawn.
        workers: processes; the answer does not depend on it.
        progress: told what is being done and the share done.

    Raises:
        MinerError: a finding of the check stops the work, or a number is out of range.

    Example:
        >>> rate = miner.error_rate(client, worlds=2, draws=100)
        >>> rate.worlds, rate.claimed, rate.nominal
        (2, 0, 0.05)
    """
    client, books = opened(client, rules)
    unit = client.settings.rank_unit
    worlds = whole_number("worlds", worlds, 1, MOST)
    draws = whole_number("draws", draws, MIN_DRAWS, MOST)
    run = Run(draws, seed_of(seed), whole_number("workers", workers, 1, MOST), progress)
    primary, table = primary_of(client, books, unit), table_of(client, books, unit)
    code = client.settings.code
    found = _error_rate(table, books, code, run, worlds=worlds, primary=primary)
    return worded(found, Wording(books))


def _since_fixed(found: Why, table: UnitTable, question: Question) -> Why:
    """Set aside the units up to the day on which a question was fixed, as its answer does."""
    if question.fixed_on is None:
        return found
    dates = dict(zip(table.frame.index.astype(str), table.frame["date"].astype(str), strict=True))
    earlier = str(message("steps.before_it_was_fixed", day=question.fixed_on))
    units = tuple(
        replace(item, used=False, reason=item.reason or earlier)
        if dates[item.unit] <= question.fixed_on
        else replace(item, used=False, reason=item.reason or SEEN)
        if dates[item.unit] in question.seen
        else item
        for item in found.units
    )
    return replace(found, units=units)
