"""``miner brief``: a page to prepare from, to show, to take home, or for the doctor."""

from __future__ import annotations

from pathlib import Path

import click

from miner.cli.faults import TOO_FEW
from miner.cli.options import PATH, OneOf, client_argument
from miner.cli.output import complain, say
from miner.cli.places import may_be_written
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.files import require_no_link, write_whole

PAGES = ("preparation", "session", "take-home", "doctor")


@click.command("brief")
@client_argument
@click.option("--out", type=PATH, required=True, metavar="FILE.html", help="Write the page here.")
@click.option("--as", "kind", type=OneOf(*PAGES), required=True, help="Choose the page.")
@click.option(
    "--include",
    multiple=True,
    metavar="PATTERN",
    help="Show this pattern, such as 1. Repeat it for more.",
)
@click.option(
    "--plan", "trial", metavar="PLAN", help="Add the dates of this plan to the page to take home."
)
@click.option(
    "--lineup", is_flag=True, help="Add the real picture among nineteen that luck alone made."
)
@click.option(
    "--figures",
    type=PATH,
    metavar="DIR",
    help="Write the pictures into this folder as well, as SVG and PNG.",
)
def command(
    client: Path,
    rules: Path | None,
    out: Path,
    kind: str,
    include: tuple[str, ...],
    trial: str | None,
    lineup: bool,
    figures: Path | None,
) -> None:
    """Write a page to prepare, to show, to take home or for a doctor.

    The page is one file that opens without a network. A client's page shows only patterns that you
    name with --include.
    """
    from miner import steps
    from miner.core.results.briefing import SHARED_KINDS
    from miner.render.pages import render

    may_be_written(out)
    if figures is not None:
        require_no_link(figures)
    with progress("cli.ranking_and_drawing") as report:
        read, books = records(client, rules)
        include = tuple(steps.id_of_number(read, pattern) for pattern in include)
        brief = steps.briefing(
            read,
            books,
            choices=steps.PageChoices(include=include, lineup=lineup, trial=trial),
            remember=True,
            progress=report,
        )
        page = render(brief, kind, books, include)
    write_whole(out, page)
    say("cli.written", path=out)
    if kind in SHARED_KINDS:
        for note in steps.remember_shared(read, brief, kind, include, page):
            complain(str(note))
    if figures is not None:
        from miner.render.drawn import write_figures

        written = write_figures(brief, books, include, figures)
        say("cli.figures_written", count=len(written))
    if kind in ("session", "take-home") and not include and brief.ranking.status == "ranked":
        say("cli.none_included")
    if brief.ranking.status == "too_few":
        click.get_current_context().exit(TOO_FEW)
