"""``miner map``: how a file of unknown columns could be read."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from miner.cli.options import PATH, debug_option, format_option
from miner.cli.output import put, put_as, show
from miner.cli.waiting import progress
from miner.core.messages import MinerError, message

if TYPE_CHECKING:
    from miner.core.results.mapping import Mapped, Undecided
    from miner.words.document import Parts


@click.command("map")
@click.argument("file", type=PATH)
@click.option("--write", is_flag=True, help="Save the proposal in the client's sources.toml.")
@click.option(
    "--practice", is_flag=True, help="Save it for every client, in the practice's sources.toml."
)
@click.option(
    "--set",
    "answers",
    multiple=True,
    metavar="KEY=VALUE",
    help="Answer a question, such as time_format=%d/%m/%Y. Repeat it for more.",
)
@click.option("--undo", is_flag=True, help="Put back what was saved for this file before.")
@click.option("--detail", is_flag=True, help="Show the entry as it is saved.")
@debug_option
@format_option("text", "json")
def command(
    file: Path,
    write: bool,
    practice: bool,
    answers: tuple[str, ...],
    undo: bool,
    detail: bool,
    form: str,
) -> None:
    """Work out how to read a file with unknown columns.

    FILE is in a client's folder. It is a CSV or TSV file, a spreadsheet, JSON lines, or a zipped
    table. The proposal comes with its reasons, and what cannot be decided is asked. A file is only
    ever read as sources.toml says. To save a file again replaces what was saved for it.
    """
    from miner.steps.mapping import map_file, undo_mapping
    from miner.words.map import mapped_parts
    from miner.words.safe import clean

    if undo:
        target, count = undo_mapping(file, practice=practice)
        code = "cli.mapped_back" if count else "cli.mapped_no_more"
        back = message(code, file=clean(file.name), count=count, target=clean(target))
        put(f"{back}\n")
        return
    given = dict(map(_answer, answers))
    with progress("cli.looking_at_file"):
        found = map_file(file, answers=given, practice=practice)
    shown = False
    if form == "text" and at_a_terminal():
        found, shown = _asked(file, found, given, practice=practice)
        whole = found.complete and found.refused is None
        write = write or (shown and whole and click.confirm(str(message("cli.save_mapping"))))
    if write:
        found = map_file(file, answers=given, practice=practice, write=True)
    said = "".join(f' --set "{key}={value}"' for key, value in given.items())

    def parts() -> Parts:
        options = said + " --practice" * practice
        every = mapped_parts(found, detail=detail, options=options, place=str(file))
        return every[-2:] if shown else every

    put_as(form, text=parts, json=lambda: {**found.to_dict(), "complete": found.complete})


def at_a_terminal() -> bool:
    """Say whether somebody sits there who can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def _answer(text: str) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not sign or not key.strip():
        raise MinerError("cli.not_key_value", value=text[:120])
    return key.strip(), value.strip()


def _asked(
    file: Path, found: Mapped, given: dict[str, str], *, practice: bool
) -> tuple[Mapped, bool]:
    """Ask what is open, one after the other; return what is proposed then, and whether it was."""
    from miner.steps.mapping import map_file
    from miner.words.map import mapped_parts

    asked = False
    while (question := _next(found, given)) is not None:
        if not asked:
            show(mapped_parts(found)[:-3])
        asked = True
        key, each = question
        given[key] = _prompted(each)
        found = map_file(file, answers=given, practice=practice)
    if asked:
        show(mapped_parts(found)[:-3])
    return found, asked


def _next(found: Mapped, given: dict[str, str]) -> tuple[str, Undecided] | None:
    asked = [item for each in found.asked() for item in each]
    return next((item for item in asked if item[0] not in given), None)


def _prompted(question: Undecided) -> str:
    from miner.words.map import option_text, question_text

    click.echo(f"\n{question_text(question)}")
    if not question.options:
        return str(click.prompt(question.key))
    for number, each in enumerate(question.options, start=1):
        click.echo(f"  {number}  {each.value:<12} {option_text(each)}")
    values = [each.value for each in question.options]
    default = values.index(question.default) + 1 if question.default in values else None
    chosen = click.prompt(
        str(message("cli.which")), type=click.IntRange(1, len(values)), default=default
    )
    return values[chosen - 1]
