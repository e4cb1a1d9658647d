"""Gathers what the pages need of one client."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from miner import ledger
from miner.core.messages import MinerError, closest
from miner.core.results import CautionKind, CautionText, Evidence, Hypothesis, Ranking
from miner.core.results.briefing import Briefing, EarlierResult, Lineup, Shared, TrialDates
from miner.core.results.meals import MealComparison
from miner.core.results.why import Why
from miner.hypotheses.why import why_table
from miner.hypotheses.worlds import model, world
from miner.ledger import Ledger, replay
from miner.records.client import Client
from miner.rulebook import RuleBook
from miner.steps.following import follow
from miner.steps.meal_steps import compare_meals
from miner.steps.past import read_past
from miner.steps.ranking import Progress, primary_of, rank, table_of
from miner.steps.records import check, rules_of
from miner.steps.story import written_plan
from miner.tables.day_review import day_pictures, times_of_day
from miner.tables.glucose.published import measures_of, medicine_tags
from miner.tables.unit_table import UnitTable


def rank_meals(
    client: Client,
    rules: RuleBook,
    *,
    seed: int,
    remember: bool,
    now: datetime | None,
    progress: Progress | None = None,
) -> Ranking | None:
    """Rank the meals of a client whose practice ranks by day; None where no meal was noted.

    It is the ranking of ``rank`` with ``unit="meal"``: a second look, remembered like any other.

    Args:
        client: as read.
        rules: the rule books.
        seed: of the ranking.
        remember: write to the ledger that these records were ranked.
        now: time of that entry.
        progress: told what is being done and the share done.
    """
    if client.settings.rank_unit == "meal" or not len(client.used("meals")):
        return None
    return rank(
        client,
        rules,
        unit="meal",
        seed=seed,
        remember=remember,
        now=now,
        together=False,
        progress=progress,
    )


def units_behind(table: UnitTable, rules: RuleBook, item: Hypothesis, client: Client) -> Why:
    """Return the units behind a hypothesis; of a fixed question those after it was fixed."""
    found = why_table(table, rules, item.id, client.settings.code)
    since = item.fixed_on if item.family == "fixed" else None
    if since is None:
        return found
    own = frozenset(table.frame.index[table.frame["date"] > since].astype(str))
    return replace(found, units=tuple(unit for unit in found.units if unit.unit in own))


def pairs_of_chosen(
    client: Client,
    rules: RuleBook,
    chosen: Sequence[tuple[str, Hypothesis]],
    table: UnitTable | None,
) -> dict[str, MealComparison]:
    """Return the pairs of similar meals of each single habit that was chosen, where there are any.

    Args:
        client: as read.
        rules: the rule books.
        chosen: hypotheses, each with its unit; those by day have no pairs.
        table: the client's meal table, or None without meals.
    """
    found = {
        item.id: compare_meals(client, item.factors[0], rules, outcome=item.outcome, table=table)
        for unit, item in chosen
        if unit == "meal" and len(item.factors) == 1
    }
    return {id_: pairs for id_, pairs in found.items() if pairs.pairs}


IMITATIONS = 19


def lineups_of_each(
    tables: Mapping[str, UnitTable],
    rules: RuleBook,
    rankings: Iterable[Ranking | None],
    chosen: Sequence[tuple[str, Hypothesis]],
    seed: int,
) -> dict[str, Lineup]:
    """Return a line-up for each that was chosen, by day and by meal.

    Args:
        tables: by unit.
        rules: the rule books.
        rankings: those that were made; None is passed over.
        chosen: hypotheses, each with its unit.
        seed: of the imitations.
    """
    found: dict[str, Lineup] = {}
    for ranking in rankings:
        if ranking is not None:
            own = [item for unit, item in chosen if unit == ranking.unit]
            found |= lineups(tables[ranking.unit], rules, ranking, own, seed)
    return found


def lineups(
    table: UnitTable, rules: RuleBook, ranking: Ranking, chosen: Sequence[Hypothesis], seed: int
) -> dict[str, Lineup]:
    """Return a line-up for each that was chosen, of the outcomes an imitation can be drawn of.

    Source: Buja et al. 2009, Phil Trans R Soc A 367:4361.
    """
    if not chosen or ranking.primary_outcome is None:
        return {}
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, IMITATIONS])))
    fitted = model(table, rules, ranking.primary_outcome)
    drawn = [world(fitted, rng).frame for _ in range(IMITATIONS)]
    found = {}
    for item in chosen:
        if item.outcome not in fitted.names:
            continue
        panels = [_values(frame[item.outcome].to_numpy(dtype=float)) for frame in drawn]
        real = int(rng.integers(IMITATIONS + 1))
        panels.insert(real, _values(table.frame[item.outcome].to_numpy(dtype=float)))
        names = tuple(str(name) for name in table.frame.index)
        found[item.id] = Lineup(item.id, names, tuple(panels), real)
    return found


def _values(column: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(value) else float(value) for value in column)


def briefing(
    client: Client,
    rules: RuleBook | None = None,
    *,
    include: Sequence[str] = (),
    lineup: bool = False,
    trial: str | None = None,
    seed: int = 0,
    remember: bool = False,
    now: datetime | None = None,
    together: bool = False,
    progress: Progress | None = None,
) -> Briefing:
    """Return everything the pages of one client need.

    Args:
        client: as read.
        rules: the rule books; by default those that apply to the client's folder.
        include: hypotheses chosen to be shown, by ID as ``rank`` prints them.
        trial: name of a plan whose dates are shown.
        lineup: draw nineteen imitations of the outcome of each that was chosen.
        seed: of the ranking and of the imitations.
        remember: write to the ledger that these records were ranked, and the verdicts that are due.
        now: time of that entry; by default the clock's.
        together: also look whether all habits together foretell later days; no page tells it.
        progress: told what is being done and the share done.

    Raises:
        MinerError: an ID is not one of this ranking's, or there is no such plan.
    """
    books = rules_of(client, rules)
    followed = follow(client, books, remember=remember, now=now)
    how: dict[str, Any] = {"seed": seed, "remember": remember, "now": now}
    by_meal = rank_meals(client, books, progress=progress, **how)
    ranking = rank(client, books, together=together, progress=progress, **how)
    chosen = [_known(ranking, by_meal, id_) for id_ in dict.fromkeys(include)]
    tables = {unit: table_of(client, books, unit) for unit in _units(ranking, by_meal)}
    by_day = tables["day"]
    high = _high_outcome(ranking, client, books)
    pictures, series = day_pictures(client, by_day, books, high)
    looked = (ranking, by_meal) if lineup else ()
    report = check(client, books)
    book = read_past(client).book
    return Briefing(
        client=client.settings.code,
        display_unit=client.settings.display_unit,
        calm=_calm(client, books),
        range=client.settings.range,
        actions=_actions(report.cautions),
        intake=_intake(client, books),
        medicine_tags=medicine_tags(client, books),
        ranking=ranking,
        check=report,
        days=pictures,
        series=series,
        whys=_whys(client, books, tables, [*chosen, *_fixed(ranking), *_fixed(by_meal)]),
        lineups=lineups_of_each(tables, books, looked, chosen, seed),
        measures=measures_of(client, by_day, client.settings.range),
        high_outcome=high,
        shared=_shared(book),
        earlier=_earlier(book, ranking, by_meal),
        trial=None if trial is None else _trial(client, trial),
        kept=followed.kept,
        by_meal=by_meal,
        pairs=pairs_of_chosen(client, books, chosen, tables.get("meal")),
        times=times_of_day(client, by_day, books),
    )


def _calm(client: Client, rules: RuleBook) -> bool:
    return client.settings.calm or any(
        question.calm and client.settings.intake.get(name) == "yes"
        for name, question in rules.cautions.intake.items()
    )


def _intake(client: Client, rules: RuleBook) -> dict[str, str]:
    return {
        question.asked: client.settings.intake.get(name, "not_asked")
        for name, question in rules.cautions.intake.items()
    }


def _high_outcome(ranking: Ranking, client: Client, rules: RuleBook) -> str:
    found = ranking.primary_outcome if ranking.unit == "day" else None
    return found or primary_of(client, rules, "day") or "day_mean"


def _units(ranking: Ranking, by_meal: Ranking | None) -> set[str]:
    return {"day", ranking.unit} | ({"meal"} if by_meal else set())


def _known(ranking: Ranking, by_meal: Ranking | None, id_: str) -> tuple[str, Hypothesis]:
    """Return the unit and the hypothesis of an ID."""
    found = [item for item in (ranking, by_meal) if item is not None]
    by_id = {item.id: (one.unit, item) for one in reversed(found) for item in one.hypotheses}
    if id_ in by_id:
        return by_id[id_]
    raise MinerError("steps.no_hypothesis", id=id_, close=closest(id_, by_id))


def _whys(
    client: Client,
    rules: RuleBook,
    tables: Mapping[str, UnitTable],
    items: Sequence[tuple[str, Hypothesis]],
) -> dict[str, Why]:
    return {item.id: units_behind(tables[unit], rules, item, client) for unit, item in items}


def _fixed(ranking: Ranking | None) -> list[tuple[str, Hypothesis]]:
    if ranking is None:
        return []
    return [(ranking.unit, item) for item in ranking.hypotheses if item.family == "fixed"]


def _actions(said: Sequence[CautionText]) -> tuple[str, ...]:
    """Return what the client is told for each caution that asks for a clinician, once each."""
    ordered = sorted(said, key=lambda item: item.kind is CautionKind.REFERRAL)
    return tuple(dict.fromkeys(item.action for item in ordered if item.action))


def _shared(book: Ledger) -> tuple[Shared, ...]:
    return tuple(
        Shared(
            event.at[:10],
            str(event.payload.get("page", "")),
            tuple(str(id_) for id_ in event.listed("ids")),
        )
        for event in ledger.named(book, "shared")
    )


def _trial(client: Client, name: str) -> TrialDates:
    found = written_plan(client, name)
    if found is None:
        known = [plan.name for plan in replay(read_past(client).book).plans]
        raise MinerError("steps.no_plan" if known else "steps.no_plan_yet", name=name, known=known)
    days: dict[str, list[tuple[str, str]]] = {"change": [], "usual": []}
    for period in found.periods:
        days[period.arm].append((period.first, period.last))
    return TrialDates(found.plan, found.change, tuple(days["change"]), tuple(days["usual"]))


def _earlier(book: Ledger, ranking: Ranking, by_meal: Ranking | None) -> tuple[EarlierResult, ...]:
    """Return what earlier rankings showed and these no longer do, the last of each."""
    now = {
        item.id
        for one in (ranking, by_meal)
        if one is not None
        for item in one.hypotheses
        if item.evidence in (Evidence.CLEAR, Evidence.HINT)
    }
    found: dict[str, EarlierResult] = {}
    for event in ledger.named(book, "ranked"):
        for shown in event.listed("shown"):
            if not isinstance(shown, dict):
                continue
            id_ = str(shown.get("id", ""))
            if id_ not in now:
                found[id_] = EarlierResult(event.at[:10], id_, str(shown.get("evidence", "")))
    return tuple(found.values())
