"""Gathers what the pages need of one client, and writes down what was shared."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from difflib import get_close_matches

import numpy as np

from miner import ledger
from miner.api.following import follow
from miner.api.past import read_past
from miner.api.ranking import Progress, primary_of, rank, table_of
from miner.api.steps import check, days, rules_of
from miner.errors import MinerError
from miner.hypotheses.why import why_table
from miner.hypotheses.worlds import model, world
from miner.ledger import Ledger
from miner.records.client import Client
from miner.results import (
    Briefing,
    CautionText,
    EarlierResult,
    Evidence,
    Hypothesis,
    Lineup,
    Ranking,
    Shared,
    TrialDates,
    Why,
)
from miner.rulebook import RuleBook
from miner.tables.day_pictures import day_pictures
from miner.tables.measured import measures_of, medicine_tags
from miner.tables.unit_table import UnitTable

IMITATIONS = 19


def briefing(
    client: Client,
    rules: RuleBook | None = None,
    *,
    include: Sequence[str] = (),
    lineup: bool = False,
    trial: str | None = None,
    seed: int = 0,
    keep: bool = True,
    now: datetime | None = None,
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
        keep: write to the ledger that these records were ranked, and the verdicts that are due.
        now: time of that entry; by default the clock's.
        progress: told what is being done and the share done.

    Raises:
        MinerError: an ID is not one of this ranking's, or there is no such plan.
    """
    books = rules_of(client, rules)
    followed = follow(client, books, settle=keep, now=now)
    ranking = rank(client, books, seed=seed, keep=keep, now=now, progress=progress)
    chosen = [_known(ranking, id_) for id_ in dict.fromkeys(include)]
    table = table_of(client, books, client.settings.rank_unit)
    by_day = table if table.unit == "day" else days(client, books)
    high = _high_outcome(ranking, client, books)
    pictures, series = day_pictures(client, by_day, books, high)
    report = check(client, books)
    whys = {item.id: _why(table, books, item, client) for item in _shown(ranking, chosen)}
    calm = client.settings.calm or any(
        question.calm and client.settings.intake.get(name) == "yes"
        for name, question in books.cautions.intake.items()
    )
    book = read_past(client).book
    return Briefing(
        client=client.settings.code,
        display_unit=client.settings.display_unit,
        calm=calm,
        range=client.settings.range,
        actions=_actions(report.cautions, books),
        intake={
            question.asked: client.settings.intake.get(name, "not_asked")
            for name, question in books.cautions.intake.items()
        },
        medicine_tags=medicine_tags(client, books),
        ranking=ranking,
        check=report,
        days=pictures,
        series=series,
        whys=whys,
        lineups=_lineups(table, books, ranking, chosen, seed) if lineup else {},
        measures=measures_of(client, by_day, client.settings.range),
        high_outcome=high,
        shared=_shared(book),
        earlier=_earlier(book, ranking),
        trial=None if trial is None else _trial(book, trial),
        kept=followed.kept,
    )


def remember_shared(
    client: Client, brief: Briefing, page: str, ids: Sequence[str], now: datetime | None = None
) -> tuple[str, ...]:
    """Write to the client's ledger that a page was made to be shared, and what was in it.

    Returns:
        A note where it could not be written.
    """
    payload = {
        "page": page, "ids": list(ids), "calm": brief.calm, "version": brief.ranking.version,
        "records_hash": brief.ranking.records_hash, "rules_hash": brief.ranking.rules_hash,
    }  # fmt: skip
    try:
        ledger.append(client.folder, "shared", payload, now or datetime.now(UTC))
    except ledger.LedgerUnwritable as error:
        return (f"What was shared could not be written to the ledger: {error.found}.",)
    return ()


def _high_outcome(ranking: Ranking, client: Client, rules: RuleBook) -> str:
    found = ranking.primary_outcome if ranking.unit == "day" else None
    return found or primary_of(client, rules, "day") or "day_mean"


def _known(ranking: Ranking, id_: str) -> Hypothesis:
    by_id = {item.id: item for item in ranking.hypotheses}
    if id_ in by_id:
        return by_id[id_]
    close = get_close_matches(id_, list(by_id), n=1)
    raise MinerError(
        f"there is no hypothesis '{id_}' in this ranking",
        "an ID as 'miner rank' prints it",
        f"Did you mean '{close[0]}'?" if close else "Run 'miner rank' and copy the ID.",
    )


def _shown(ranking: Ranking, chosen: Sequence[Hypothesis]) -> list[Hypothesis]:
    told = [item for item in ranking.hypotheses if item.family == "fixed"]
    return list({item.id: item for item in [*chosen, *told]}.values())


def _why(table: UnitTable, rules: RuleBook, item: Hypothesis, client: Client) -> Why:
    found = why_table(table, rules, item.id, client.settings.code)
    since = item.fixed_on if item.family == "fixed" else None
    if since is None:
        return found
    own = frozenset(table.frame.index[table.frame["date"] > since].astype(str))
    return replace(found, units=tuple(unit for unit in found.units if unit.unit in own))


def _actions(said: Sequence[CautionText], rules: RuleBook) -> tuple[str, ...]:
    """Return what the client is told for each caution that asks for a clinician, once each."""
    book = rules.cautions
    by_text = {question.when_yes: question.client_action for question in book.intake.values()}
    found = [by_text.get(item.text, "") for item in said]
    for rule in book.referral:
        told = re.compile(".*".join(map(re.escape, re.split(r"\{\w+\}", rule.say))))
        found += [rule.client_action for item in said if told.fullmatch(item.text)]
    return tuple(dict.fromkeys(filter(None, found)))


def _lineups(
    table: UnitTable, rules: RuleBook, ranking: Ranking, chosen: Sequence[Hypothesis], seed: int
) -> dict[str, Lineup]:
    if not chosen or ranking.primary_outcome is None:
        return {}
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, IMITATIONS])))
    fitted = model(table, rules, ranking.primary_outcome)
    drawn = [world(fitted, rng).frame for _ in range(IMITATIONS)]
    lineups = {}
    for item in chosen:
        if item.outcome not in fitted.names:
            continue
        panels = [_values(frame[item.outcome].to_numpy(dtype=float)) for frame in drawn]
        real = int(rng.integers(IMITATIONS + 1))
        panels.insert(real, _values(table.frame[item.outcome].to_numpy(dtype=float)))
        names = tuple(str(name) for name in table.frame.index)
        lineups[item.id] = Lineup(item.id, names, tuple(panels), real)
    return lineups


def _values(column: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(value) else float(value) for value in column)


def _shared(book: Ledger) -> tuple[Shared, ...]:
    return tuple(
        Shared(
            event.at[:10],
            str(event.payload.get("page", "")),
            tuple(str(id_) for id_ in event.payload.get("ids") or ()),
        )
        for event in ledger.named(book, "shared")
    )


def _trial(book: Ledger, name: str) -> TrialDates:
    plans = {str(e.payload.get("plan")): e.payload for e in ledger.named(book, "planned")}
    if name not in plans:
        raise MinerError(
            f"there is no plan '{name}'", f"one of {', '.join(plans) or 'none yet'}",
            "Run 'miner history' and copy its name, or make one with 'miner plan'.",
        )  # fmt: skip
    told = plans[name]
    days: dict[str, list[tuple[str, str]]] = {"change": [], "usual": []}
    for period in told.get("periods") or ():
        days.setdefault(str(period["arm"]), []).append((str(period["from"]), str(period["to"])))
    return TrialDates(
        name, str(told.get("change", "")), tuple(days["change"]), tuple(days["usual"])
    )


def _earlier(book: Ledger, ranking: Ranking) -> tuple[EarlierResult, ...]:
    """Return what earlier rankings showed and this one no longer does, the last of each."""
    now = {
        item.id for item in ranking.hypotheses if item.evidence in (Evidence.CLEAR, Evidence.HINT)
    }
    found: dict[str, EarlierResult] = {}
    for event in ledger.named(book, "ranked"):
        for shown in event.payload.get("shown") or ():
            id_ = str(shown.get("id", ""))
            if id_ not in now:
                found[id_] = EarlierResult(event.at[:10], id_, str(shown.get("evidence", "")))
    return tuple(found.values())
