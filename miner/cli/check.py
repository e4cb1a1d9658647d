"""``miner check``: what was read, what is wrong with it, which days can be used; the week."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.faults import BAD_INPUT
from miner.cli.options import DAY, client_argument, format_option
from miner.cli.output import put_as
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.messages import message


@click.command("check")
@client_argument
@click.option(
    "--week", is_flag=True, help="Show the last seven days, and how far each question is."
)
@click.option("--date", "last", type=DAY, help="End the week on this date, such as 2026-03-01.")
@click.option("--detail", is_flag=True, help="Add every kind of record, habit and finding.")
@format_option("text", "json")
def command(
    client: Path, rules: Path | None, week: bool, last: str | None, detail: bool, form: str
) -> None:
    """Show what was read, how many days can be used, and what to do.

    The command ends with exit code 2 where something must be put right first.
    """
    if week:
        _week(client, rules, last, form, detail)
        return
    if last is not None:
        raise click.UsageError(str(message("cli.date_without_week")))
    from miner import steps
    from miner.core.results import Severity
    from miner.words.check import check_parts

    with progress("cli.checking"):
        read, books = records(client, rules)
        report = steps.check(read, books)
    put_as(form, text=lambda: check_parts(report, books, detail=detail), json=report.to_dict)
    if any(item.severity is Severity.STOP for item in report.findings):
        raise SystemExit(BAD_INPUT)


def _week(client: Path, rules: Path | None, last: str | None, form: str, detail: bool) -> None:
    from miner.steps.weeks import week
    from miner.words.week import week_parts

    with progress("cli.looking_at_week"):
        read, books = records(client, rules)
        found = week(read, books, last=last)
    put_as(form, text=lambda: week_parts(found, detail=detail), json=found.to_dict)
