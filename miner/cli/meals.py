"""``miner meals``: the table by meal, and meals that come back side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from miner.cli.options import PATH, client_argument, format_option
from miner.cli.output import put_as, say
from miner.cli.picture import FORMS, write_picture
from miner.cli.places import require_picture
from miner.cli.reading import cautioned, records, shown
from miner.cli.waiting import progress
from miner.core.messages import MinerError

if TYPE_CHECKING:
    from miner.records.client import Client
    from miner.rulebook import RuleBook


@click.command("meals")
@client_argument
@format_option("text", "json", "csv")
@click.option(
    "--compare",
    metavar="HABIT",
    help="Compare similar meals with and without this habit, such as walk_after.",
)
@click.option(
    "--out",
    type=PATH,
    metavar="FILE",
    help="Draw the pairs into a file that ends in .svg, .png or .html.",
)
def command(
    client: Path, rules: Path | None, form: str, compare: str | None, out: Path | None
) -> None:
    """Show the table of meals, or compare similar meals."""
    with progress("cli.meal_table"):
        read, books = records(client, rules)
    if compare is not None:
        _compare(read, books, form, compare, out)
    else:
        _table(read, books, form, out)


def _table(read: Client, books: RuleBook, form: str, out: Path | None) -> None:
    from miner import steps
    from miner.render import values
    from miner.words import meals

    if out is not None:
        raise MinerError("cli.out_without_compare")
    table = steps.meals(read, books)
    shown(read, table)
    again, code, unit = steps.repeats(table), read.settings.code, read.settings.display_unit
    put_as(
        form,
        text=lambda: cautioned(
            read, books, meals.meals_parts(code, table, books, again, unit), beside=False
        ),
        json=lambda: values.table_dict(code, table, again),
        csv=lambda: values.table_csv(table),
    )


def _compare(read: Client, books: RuleBook, form: str, factor: str, out: Path | None) -> None:
    from miner import steps
    from miner.render import values
    from miner.words import meals

    if out is not None:
        require_picture(out, FORMS)
    found = steps.compare_meals(read, factor, books, remember=True)
    unit = read.settings.display_unit
    put_as(
        form,
        text=lambda: cautioned(read, books, meals.comparison_parts(found, books, unit)),
        json=found.to_dict,
        csv=lambda: values.comparison_csv(found),
    )
    if out is not None and found.pairs:
        from miner.render.figures.meal_pairs import meal_pairs

        habit = books.factor(found.factor, "meal")
        sides = (habit.with_many, habit.without_many)
        label = books.outcome(found.outcome, "meal").label
        lines = (str(found.sentence), *map(str, found.notes))
        wide, narrow = (meal_pairs(found, label, sides, unit, wide=wide) for wide in (True, False))
        write_picture(wide, out, f"{found.client}: {habit.phrase}", lines, narrow)
    elif out is not None:
        say("cli.nothing_to_draw", path=out)
