"""``miner brief``: a page to prepare from, to show, to take home, or for the doctor."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from miner.cli.faults import TOO_FEW
from miner.cli.options import client_argument
from miner.cli.output import complain
from miner.cli.reading import records
from miner.cli.waiting import progress
from miner.core.errors import MinerError
from miner.core.files import require_no_link, write_whole

if TYPE_CHECKING:
    from miner.core.results.briefing import Briefing

PAGES = ("preparation", "session", "take-home", "doctor")


@click.command("brief")
@client_argument
@click.option("--out", type=click.Path(path_type=Path), required=True, metavar="FILE.html")
@click.option("--as", "kind", type=click.Choice(PAGES), required=True, help="Which page.")
@click.option("--include", multiple=True, metavar="ID", help="Show this one; again for more.")
@click.option("--plan", "trial", metavar="PLAN", help="Its dates on the page to take home.")
@click.option("--lineup", is_flag=True, help="Add the real dots among nineteen of pure luck.")
@click.option("--figures", type=click.Path(path_type=Path), metavar="DIR", help="Write SVG, PNG.")
def command(
    client: Path, rules: Path | None, out: Path, kind: str, include: tuple[str, ...],
    trial: str | None, lineup: bool, figures: Path | None,
) -> None:  # fmt: skip
    """Write one page of a client as a file that opens without a network.

    Nothing of the search reaches a client's page that was not named with --include.
    """
    from miner import steps
    from miner.render.papers.pages import SHARED_KINDS, render

    may_be_written(out)
    if figures is not None:
        require_no_link(figures)
    with progress("Ranking and drawing") as report:
        read, books = records(client, rules)
        brief = steps.briefing(
            read,
            books,
            include=include,
            lineup=lineup,
            trial=trial,
            remember=True,
            progress=report,
        )
        page = render(brief, kind, books, include)
    write_whole(out, page)
    complain(f"Written: {out}")
    if kind in SHARED_KINDS:
        for note in steps.remember_shared(read, brief, kind, include, page):
            complain(note)
    if figures is not None:
        from miner.render.figure_files import write_figures

        complain(f"Figures written: {len(write_figures(brief, books, include, figures))}")
    _told(brief, kind, include)


def may_be_written(out: Path) -> None:
    """Check that a page may be written here: a file of that ending, new or written by miner.

    Raises:
        MinerError: it may not.
    """
    if out.suffix.lower() not in (".html", ".htm"):
        raise MinerError(
            f"--out {out.name} is not the name of a page", "a name that ends in .html",
            "Give it that ending.",
        )  # fmt: skip
    require_folder(out)
    if not out.exists():
        return
    from miner.render.papers.page import MARK

    head = b"" if out.is_dir() else out.read_bytes()[:4000]
    if MARK.encode() not in head:
        raise MinerError(
            "there is a file here that miner did not write", "a new file, or one of miner's pages",
            "Choose another name.", file=out,
        )  # fmt: skip


def require_folder(out: Path) -> None:
    """Check that the folder of a file to be written is there.

    Raises:
        MinerError: it is not, or a link stands in the place of the file.
    """
    require_no_link(out)
    if not out.absolute().parent.is_dir():
        raise MinerError(
            "there is no such folder", "a folder that is there", "Check the path, or make it.",
            file=out.parent,
        )  # fmt: skip


def _told(brief: Briefing, kind: str, include: tuple[str, ...]) -> None:
    if kind in ("session", "take-home") and not include and brief.ranking.status == "ranked":
        complain("No hypothesis was included. Add --include ID for each one to show.")
    if brief.ranking.status == "too_few":
        click.get_current_context().exit(TOO_FEW)
