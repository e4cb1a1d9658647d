"""``miner meals``: the table by meal, and meals that come back side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from miner.cli.options import client_argument, format_option
from miner.cli.output import complain, put, put_json, show
from miner.cli.picture import require_form, write_picture
from miner.cli.reading import before_patterns, beside_patterns, records, shown
from miner.cli.waiting import progress
from miner.core.errors import MinerError

if TYPE_CHECKING:
    from miner.records.client import Client
    from miner.rulebook import RuleBook


@click.command("meals")
@client_argument
@format_option("text", "json", "csv")
@click.option("--compare", metavar="FACTOR", help="Similar meals with and without this, in pairs.")
@click.option("--out", type=click.Path(path_type=Path), help="Draw the pairs: .svg, .png, .html.")
def command(
    client: Path, rules: Path | None, form: str, compare: str | None, out: Path | None
) -> None:
    """Print one row a meal, or the meals that come back with and without one habit."""
    with progress("Making the table by meal"):
        read, books = records(client, rules)
    if compare is not None:
        _compare(read, books, form, compare, out)
    else:
        _table(read, books, form, out)


def _table(read: Client, books: RuleBook, form: str, out: Path | None) -> None:
    from miner import steps
    from miner.words import meals

    if out is not None:
        raise MinerError(
            "--out draws pairs, and --compare is missing",
            "--compare FACTOR beside --out",
            "Add --compare, or leave out --out.",
        )
    table = steps.meals(read, books)
    shown(read, table)
    again, code = steps.repeats(table), read.settings.code
    if form == "json":
        put_json(meals.meals_dict(code, table, again))
    elif form == "csv":
        put(meals.meals_csv(table))
    else:
        said = meals.meals_parts(code, table, books, again, read.settings.display_unit)
        show([*before_patterns(read, books), *said])


def _compare(read: Client, books: RuleBook, form: str, factor: str, out: Path | None) -> None:
    from miner import steps
    from miner.words import meals

    if out is not None:
        require_form(out)
    found, unit = (
        steps.compare_meals(read, factor, books, remember=True),
        read.settings.display_unit,
    )
    if form == "json":
        put_json(found.to_dict())
    elif form == "csv":
        put(meals.comparison_csv(found))
    else:
        said = meals.comparison_parts(found, books, unit)
        show([*before_patterns(read, books), *said, *beside_patterns(read, books)])
    if out is not None and found.pairs:
        from miner.render.figures.meal_pairs import meal_pairs

        habit = books.factor(factor, "meal")
        sides = (habit.with_many, habit.without_many)
        label = books.outcome(found.outcome, "meal").label
        lines = (found.sentence, *found.notes)
        wide, narrow = (meal_pairs(found, label, sides, unit, wide=wide) for wide in (True, False))
        write_picture(wide, out, f"{found.client}: {habit.phrase}", lines, narrow)
    elif out is not None:
        complain(f"Nothing to draw: {out} was not written.")
