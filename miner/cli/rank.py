"""``miner rank``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from miner.cli.faults import TOO_FEW
from miner.cli.options import DAY, OneOf, Whole, client_argument, format_option
from miner.cli.output import complain, put_as
from miner.cli.reading import records
from miner.cli.waiting import progress

if TYPE_CHECKING:
    from miner.core.results import Ranking
    from miner.records.client import Client
    from miner.rulebook import RuleBook


@click.command("rank")
@client_argument
@format_option("text", "json", "csv")
@click.option(
    "--unit", type=OneOf("day", "meal"), help="Rank days, or meals and what followed them."
)
@click.option(
    "--outcome",
    metavar="NAME",
    help="Show one glucose measure only, such as wake_glucose. All are still checked.",
)
@click.option(
    "--from", "first", type=DAY, metavar="DATE", help="Begin with this day, such as 2026-03-01."
)
@click.option("--to", "last", type=DAY, metavar="DATE", help="End with this day.")
@click.option(
    "--draws",
    type=Whole(100, 1_000_000),
    help="Compare with this many shuffled records, from 100 to 1000000.",
)
@click.option(
    "--seed", type=Whole(0, 2**32 - 1), default=0, show_default=True, help="Shuffle in another way."
)
@click.option("--detail", is_flag=True, help="Add the numbers of every pattern.")
def command(client: Path, rules: Path | None, form: str, detail: bool, **choices: Any) -> None:
    """List which habits came before, or went with, high glucose.

    Many habits are checked, so the list allows for luck and says how sure each pattern is.
    """
    from miner import steps

    with progress("cli.ranking") as report:
        read, books = records(client, rules)
        ranking = steps.rank(read, books, remember=True, progress=report, **choices)
    remember_numbers(read, ranking, books)
    unit = read.settings.display_unit
    put_ranking(ranking, books, form, display_unit=unit, detail=detail, folder=str(client))


def remember_numbers(client: Client, ranking: Ranking, rules: RuleBook) -> None:
    """Write the numbers that this ranking shows, so that the next commands know them."""
    from miner import steps

    if ranking.status == "ranked":
        for note in steps.remember_numbers(client, ranking, rules):
            complain(str(note))


def put_ranking(ranking: Ranking, rules: RuleBook, form: str, **how: Any) -> None:
    """Print a ranking in one of its forms; exit with 3 where there were too few days."""
    from miner.words.ranking import ranking_parts

    def csv() -> str:
        from miner.render.values import ranking_csv

        return ranking_csv(ranking)

    put_as(
        form,
        text=lambda: ranking_parts(ranking, rules, **how),
        json=ranking.to_dict,
        csv=csv,
    )
    if ranking.status == "too_few":
        click.get_current_context().exit(TOO_FEW)
