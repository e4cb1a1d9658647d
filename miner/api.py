"""The steps of the whole job as functions; the command line and the page call nothing else."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from miner import resources, rulebook
from miner.brief.sentences import with_words
from miner.hypotheses.rank import Ranked, rank_table
from miner.records import read_client as _read
from miner.records.client import Client
from miner.results import CheckReport, Ranking
from miner.rulebook import RuleBook
from miner.tables import cautions, day_table
from miner.tables import check as _check
from miner.tables.unit_table import UnitTable

Progress = Callable[[str, float], None]


def miner_version() -> str:
    """Return the version of this installation."""
    try:
        return version("miner")
    except PackageNotFoundError:
        return "0 (not installed)"


def load_rules(folder: Path | None, client_folder: Path) -> RuleBook:
    """Read the rule books: shipped, replaced by the practice's, replaced by ``folder``."""
    practice = client_folder.resolve().parent / "rules"
    chosen = [practice] if practice.is_dir() else []
    return rulebook.load(*chosen, *([folder] if folder is not None else []))


def read_client(folder: Path, rules: RuleBook | None = None) -> Client:  # noqa: ARG001
    """Read one client folder; see :class:`miner.records.client.Client`."""
    return _read(Path(folder))


def days(client: Client, rules: RuleBook) -> UnitTable:
    """Return one row a biological day."""
    return day_table(client, rules)


def check(client: Client, rules: RuleBook) -> CheckReport:
    """Return what was read, what is wrong with it, and which days can be used."""
    return _check(client, days(client, rules), rules)


def rank(
    client: Client,
    rules: RuleBook,
    *,
    unit: str | None = None,
    outcome: str | None = None,
    first: str | None = None,
    last: str | None = None,
    draws: int | None = None,
    seed: int = 0,
    keep: bool = True,
    progress: Progress | None = None,
) -> Ranking:
    """Rank which habits came before, or went with, this client's higher glucose.

    Args:
        client: as read.
        rules: the rule books.
        unit: "day" or "meal"; by default the practice's.
        outcome: show only this one; all are counted.
        first: first date used, ISO.
        last: last date used, ISO.
        draws: permutations; by default the rule book's.
        seed: of the permutations.
        keep: write to the client's ledger that these records were ranked.
        progress: told what is being done and the share done.
    """
    unit = unit or client.settings.rank_unit
    table = days(client, rules)
    ranked = rank_table(
        table,
        rules,
        primary=client.settings.primary_outcome,
        draws=draws,
        seed=seed,
        first=first,
        last=last,
        second_look=unit != client.settings.rank_unit,
        progress=progress,
    )
    said, _ = cautions(client, table, rules)
    return with_words(_ranking(client, table, rules, ranked, said, outcome, draws, seed), rules)


def write_demo(folder: Path) -> Path:
    """Write the invented practice and return the folder of the client to rank."""
    truth = resources.invented().write_practice(folder)
    return Path(folder) / sorted(truth["clients"])[0]


def _ranking(
    client: Client,
    table: UnitTable,
    rules: RuleBook,
    ranked: Ranked,
    said: tuple[str, ...],
    outcome: str | None,
    draws: int | None,
    seed: int,
) -> Ranking:
    dates = table.frame["date"][table.frame["usable"].astype(bool)]
    shown = [item for item in ranked.hypotheses if outcome in (None, item.outcome)]
    return Ranking(
        client=client.settings.code,
        version=miner_version(),
        unit=ranked.unit,
        usable_units=ranked.usable_units,
        left_out_units=ranked.left_out_units,
        seed=seed,
        draws=draws or rules.guardrails.draws,
        records_hash=client.records_hash,
        rules_hash=rules.hash,
        rankings_of_these_records=1,
        questions_asked=ranked.questions_asked,
        claim_level=rules.guardrails.claim_level,
        primary_outcome=ranked.primary_outcome,
        hints_by_chance=ranked.hints_by_chance,
        outcomes=ranked.outcomes,
        hypotheses=tuple(shown),
        cautions=said,
        status="ranked" if ranked.enough else "too_few",
        need_units=ranked.need_units,
        from_day=str(dates.iloc[0]) if len(dates) else None,
        to_day=str(dates.iloc[-1]) if len(dates) else None,
    )
