"""The main job, with its bookkeeping, and what its notes tell."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from miner.caseload.running import Progress
from miner.caseload.store import practice_spreads
from miner.core import VERSION
from miner.core.messages import Message, Words, by_rules, message
from miner.core.period import Period
from miner.core.results import Evidence, OutcomeSummary, Ranking, Severity, Since, Wording, worded
from miner.core.unit import Unit
from miner.hypotheses.design import Run
from miner.hypotheses.rank import Ranked, RankingRequest, rank_table
from miner.records.client import Client
from miner.records.synonyms import SPELT_ALIKE
from miner.rulebook import RuleBook
from miner.steps.client_ledger import ClientLedger, ledger_of
from miner.steps.looks import (
    RankedDays,
    as_first_seen,
    changed_days,
    days_used,
    first_of,
    remember_ranking,
)
from miner.steps.opening import days, draws_of, opened, outcome_of, seed_of, table_of
from miner.tables import cautions
from miner.tables.unit_table import UnitTable

if TYPE_CHECKING:
    import pandas as pd

_SHOWN = 3


def open_questions(client: Client) -> list[Message]:
    """Return the check's open questions that may cost usable days as notes of a ranking.

    How a tag is spelt costs none.

    Args:
        client: the records as read.
    """
    asked = [
        item
        for item in client.findings
        if item.severity is Severity.QUESTION and item.code not in SPELT_ALIKE
    ]
    told = [
        message(
            "steps.open_in_check",
            question=message("labels.finding", found=item),
        )
        for item in asked[:_SHOWN]
    ]
    if (more := len(asked) - _SHOWN) > 0:
        told.append(message("steps.open_in_check_more", count=more))
    return told


MOST_NAMED = 3
KNOWN_ON_FEW = 0.5


def why_unknown(
    table: UnitTable, ranking: Ranking, rules: RuleBook, period: Period
) -> list[Message]:
    """Return notes that tell, with counts, what of a table a ranking could not use.

    Of a ranking of meals with too few of them: why the others were left out. Of outcomes that
    could not be ranked and are known on fewer than half of the usable units: why they are not.

    Args:
        table: every unit, used or not.
        ranking: what was made of it.
        rules: the rule books, for the words.
        period: the days that were asked for.
    """
    frame = table.frame
    inside = frame[period.among(frame["date"])]
    if ranking.status == "too_few":
        return _left_out(inside, table.unit, rules) if table.unit == "meal" else []
    usable = inside[inside["usable"].astype(bool)]
    return _not_known(table, usable, ranking.outcomes, rules)


def _left_out(inside: pd.DataFrame, unit: str, rules: RuleBook) -> list[Message]:
    why = _counted([item for item in inside["left_out"] if item], unit, rules)
    return [message("steps.units_left_out", why=why)] if why else []


def _not_known(
    table: UnitTable, usable: pd.DataFrame, outcomes: Sequence[OutcomeSummary], rules: RuleBook
) -> list[Message]:
    same: dict[tuple[int, tuple[Message, ...]], list[Message]] = defaultdict(list)
    for item in outcomes:
        unknown = usable.index[usable[item.name].isna()]
        known = len(usable) - len(unknown)
        if item.withheld is None or known >= KNOWN_ON_FEW * len(usable):
            continue
        reasons = [table.reasons.get((name, item.name), "") for name in unknown]
        label = by_rules(rules, "labels.outcome", name=item.name, unit=table.unit)
        same[known, tuple(_counted(reasons, table.unit, rules))].append(label)
    of = message("steps.usable_units", count=len(usable), unit=table.unit)
    return [
        message("steps.known_on_few", known=known, of=of, labels=labels, why=why)
        for (known, why), labels in same.items()
    ]


def _counted(reasons: Sequence[Words], unit: str, rules: RuleBook) -> list[Message]:
    """Return the commonest reasons with their counts; those of one code are of one kind."""
    by_code = [why.code if isinstance(why, Message) else why for why in reasons]
    first = dict(zip(reversed(by_code), reversed(reasons), strict=True))
    return [
        message(
            "steps.counted_reason" if code else "steps.counted_no_reason",
            count=count,
            unit=unit,
            why=by_rules(rules, "labels.kind", why=first[code]),
        )
        for code, count in Counter(by_code).most_common(MOST_NAMED)
    ]


Spreads = Mapping[tuple[str, str], float]


def rank(
    client: Client | Path | str,
    rules: RuleBook | Path | str | None = None,
    *,
    unit: str | None = None,
    outcome: str | None = None,
    first: date | str | None = None,
    last: date | str | None = None,
    draws: int | None = None,
    seed: int = 0,
    remember: bool = False,
    now: datetime | None = None,
    spreads: Spreads | None = None,
    together: bool = True,
    progress: Progress | None = None,
) -> Ranking:
    """Rank which habits came before, or went with, this client's higher glucose.

    Args:
        client: as read, or its folder.
        rules: the rule books; by default those that apply to the client's folder.
        unit: "day" or "meal"; by default the practice's.
        outcome: show only this one; all are counted.
        first: first day used, a date or ISO text.
        last: last day used.
        draws: permutations; by default the rule book's.
        seed: of the permutations.
        remember: write to the client's ledger that these records were ranked.
        now: time of the ledger's entry; by default the clock's.
        spreads: (factor, outcome) -> spread of true effects found across clients; by default
            what the last caseload of the practice found.
        together: also see whether all habits together predict later units.
        progress: told what is being done and the share done.

    Raises:
        MinerError: a finding of the check stops the work, or an argument is none of those above.

    Example:
        >>> ranking = miner.rank(client, draws=200)
        >>> first = ranking.hypotheses[0]
        >>> first.factors, first.outcome, first.evidence.value
        (('short_sleep',), 'wake_glucose', 'clear')
        >>> table = ranking.to_frame()
        >>> f"{table.loc[0, 'difference']:.1f} {table.attrs['units']['wake_glucose']}"
        '14.3 mg/dL'
    """
    client, books = opened(client, rules)
    chosen = Unit.of(client.settings.rank_unit if unit is None else unit)
    period = Period.of(first, last)
    shuffles, seed = draws_of(draws, books), seed_of(seed)
    if outcome is not None:
        outcome_of(books, outcome, chosen)
    past = ledger_of(client)
    table = table_of(client, books, chosen)
    across = practice_spreads(client.folder, chosen) if spreads is None else spreads
    used = days_used(table, period)
    since = first_of(used, period)
    second = _second_look(client, past, since, chosen)

    def run(of: Client, told: Progress | None) -> Ranked:
        """Rank these records; asked the same again, they give what they gave before."""
        wanted = RankingRequest(
            primary=primary_of(client, books, chosen),
            questions=tuple(past.questions(books, chosen)),
            share=past.share(books, chosen),
            period=period,
            second_look=bool(second),
            spreads=dict(across),
            out_of_sample=together and told is progress,
        )
        chance = Run(shuffles, seed, progress=told)
        return of.derived(
            f"ranked by {chosen}",
            (books, wanted, shuffles, seed),
            lambda: rank_table(table_of(of, books, chosen), books, wanted, chance),
        )

    ranked = run(client, progress)
    ranking = replace(
        _ranking(client, books, ranked, used, period),
        seed=seed,
        draws=shuffles,
        second_look=bool(second),
        hypotheses=past.marked(ranked.hypotheses),
    )
    notes = [*second, *_changes(client, past, used, books, chosen, period)]
    notes += _moved(past, ranking, since, books)
    notes += [*_unanswered(past, ranking, books), *_late(client, past, books, chosen, ranking, run)]
    notes += _elsewhere(past, since, books)
    notes += open_questions(client) if ranking.status == "too_few" else []
    notes += why_unknown(table, ranking, books, period)
    notes += [message("steps.spreads_used")] if across and ranking.hypotheses else []
    wording = Wording(books, client.settings.display_unit, ranking.unit, ranking.days)
    ranking = worded(ranking, wording)
    if remember and ranked.enough:
        times, written = remember_ranking(
            client, books, past, ranking, RankedDays(used, period), now
        )
    else:
        times, written = len(past.rankings(since)) + ranked.enough, past.notes
    return replace(
        ranking,
        rankings_of_these_records=times,
        notes=(*ranking.notes, *notes, *written),
        hypotheses=tuple(h for h in ranking.hypotheses if outcome in (None, h.outcome)),
    )


def primary_of(client: Client, rules: RuleBook, unit: str) -> str | None:
    """Return the practice's primary outcome where it belongs to the unit."""
    name = client.settings.primary_outcome
    return name if name in rules.outcomes_of(unit) else None


def _second_look(client: Client, past: ClientLedger, since: str, unit: str) -> list[Message]:
    """Return why nothing searched may be called clear, or nothing where this is the first look."""
    first = past.ranked_first_by(since)
    if unit == (first or client.settings.rank_unit):
        return []
    kind, other = "ranked_first" if first else "ranked_by_default", Unit.of(unit).other
    why = message(f"steps.{kind}", other=other)
    return [message("steps.second_look", unit=unit, why=why)]


def _moved(past: ClientLedger, ranking: Ranking, since: str, rules: RuleBook) -> list[Message]:
    """Report a primary outcome that was another when these days were ranked before."""
    before = past.other_primary(since, ranking.unit, ranking.primary_outcome)
    if before is None or ranking.primary_outcome is None:
        return []
    then, now = (
        by_rules(rules, "labels.outcome", name=name, unit=ranking.unit)
        for name in (before, ranking.primary_outcome)
    )
    return [message("steps.primary_changed", then=then, now=now)]


def _changes(
    client: Client,
    past: ClientLedger,
    used: Sequence[str],
    rules: RuleBook,
    unit: str,
    period: Period,
) -> list[Message]:
    """Report days that were taken out, or whose records are others, since they were looked at."""
    gone = past.gone(client, unit, used, period)
    changed = tuple(day for day in changed_days(client, past) if day in period and day not in gone)
    seen = sorted(
        day
        for question in past.questions(rules, unit)
        for day in question.seen
        if (question.fixed_on or "") < day and day in period
    )
    days = by_rules(rules, "labels.some_of", days=gone)
    told = [by_rules(rules, "wording.since.gone", days=days)] if gone else []
    return [*told, *Since(changed=changed, seen=tuple(seen)).messages(rules)]


def _elsewhere(past: ClientLedger, since: str, rules: RuleBook) -> list[Message]:
    """Report rankings of other days of this client, which gave luck their chance too."""
    other = len(past.rankings("")) - len(past.rankings(since))
    times = message("steps.once" if other == 1 else "steps.times", count=other)
    return [by_rules(rules, "wording.since.elsewhere", times=times)] if other else []


def _unanswered(past: ClientLedger, ranking: Ranking, rules: RuleBook) -> list[Message]:
    answered = {
        (item.factors[0], item.outcome) for item in ranking.hypotheses if item.family == "fixed"
    }
    return [
        message(
            "steps.no_such_habit",
            factor=by_rules(rules, "labels.factor", name=item.factor, unit=ranking.unit),
            outcome=by_rules(rules, "labels.outcome", name=item.outcome, unit=ranking.unit),
        )
        for item in past.questions(rules, ranking.unit)
        if (item.factor, item.outcome) not in answered and ranking.status == "ranked"
    ]


def _late(
    client: Client,
    past: ClientLedger,
    rules: RuleBook,
    unit: str,
    ranking: Ranking,
    run: Callable[[Client, Progress | None], Ranked],
) -> list[Message]:
    """Report days left out after a first ranking, with the answer without leaving them out."""
    late = past.left_out_late(client)
    if not late or ranking.status == "too_few":
        return []
    other = run(as_first_seen(client, late), None)
    claims = [
        message(
            "steps.claim",
            factors=by_rules(rules, "labels.factors", names=item.factors, unit=unit),
            outcome=by_rules(rules, "labels.outcome", name=item.outcome, unit=unit),
        )
        for item in other.hypotheses
        if item.evidence is Evidence.CLEAR
    ]
    code = "steps.left_out_late" if claims else "steps.left_out_late_nothing"
    return [message(code, days=late, claims=claims)]


def _ranking(
    client: Client, rules: RuleBook, ranked: Ranked, used: Sequence[str], period: Period
) -> Ranking:
    by_day = days(client, rules)
    looked_at = by_day.frame["date"][period.among(by_day.frame["date"])].tolist()
    said, _ = cautions(client, by_day, rules, days=len(looked_at))
    return Ranking(
        client=client.settings.code,
        version=VERSION,
        unit=ranked.unit,
        usable_units=ranked.usable_units,
        left_out_units=ranked.left_out_units,
        seed=0,
        draws=0,
        records_hash=client.records_hash,
        rules_hash=rules.hash,
        rankings_of_these_records=1,
        questions_asked=ranked.questions_asked,
        claim_level=rules.guardrails.claim_level,
        primary_outcome=ranked.primary_outcome,
        hints_by_chance=ranked.hints_by_chance,
        outcomes=ranked.outcomes,
        hypotheses=ranked.hypotheses,
        cautions=said,
        status="ranked" if ranked.enough else "too_few",
        need_units=ranked.need_units,
        first_day=str(looked_at[0]) if looked_at else None,
        last_day=str(looked_at[-1]) if looked_at else None,
        from_day=used[0] if used else None,
        to_day=used[-1] if used else None,
        days=len(looked_at),
        together=ranked.together,
        clear_by_chance=ranked.clear_by_chance,
    )
