"""``miner ask``: one question, answered, or written down before the records."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from miner.cli.faults import TOO_FEW
from miner.cli.options import DAY, OneOf, client_argument, format_option
from miner.cli.output import put_as, put_json, show
from miner.cli.reading import cautioned, client_folder, records
from miner.cli.waiting import progress
from miner.core.messages import MinerError

if TYPE_CHECKING:
    from miner.core.results import Hypothesis
    from miner.records.client import Client
    from miner.rulebook import RuleBook


@click.command("ask")
@client_argument
@format_option("text", "json")
@click.option("--factor", metavar="NAME", help="Ask about this habit, such as short_sleep.")
@click.option(
    "--outcome",
    metavar="NAME",
    help="Ask about this glucose measure, such as wake_glucose, or about whole_day.",
)
@click.option(
    "--suggest", is_flag=True, help="Suggest questions from the records of other clients."
)
@click.option(
    "--fix", is_flag=True, help="Write the question down; only days after today will answer it."
)
@click.option(
    "--guess",
    type=OneOf("up", "down"),
    help="Say which way you expect it to go, together with --fix.",
)
@click.option(
    "--shape",
    type=OneOf("cut", "dose"),
    help="Compare days with and without the habit (cut), or by how much of it (dose).",
)
@click.option(
    "--fixed-on",
    type=DAY,
    metavar="DATE",
    help="Say when you wrote the question down on paper, together with --fix.",
)
def command(
    client: Path, rules: Path | None, form: str, fix: bool, suggest: bool, **words: Any
) -> None:
    """Answer one question, or write it down before the records.

    With --fix, the question is written down before the records are there. Three to five such
    questions are advised. With --suggest, questions come from the records of other clients of the
    practice who agreed to be pooled, and from none of this client's days.
    """
    if suggest:
        offer(client, rules, form, fix=fix, **words)
        return
    context = click.get_current_context()
    for param in context.command.params:
        if param.name in ("factor", "outcome") and words[param.name] is None:
            raise click.MissingParameter(ctx=context, param=param)
    if fix:
        write_down(client, rules, form, **words)
        return
    for name in ("guess", "fixed_on"):
        if words[name] is not None:
            raise MinerError("cli.without_fix", option=f"--{name.replace('_', '-')}")
    from miner import steps

    factor, outcome = words["factor"], words["outcome"]
    with progress("cli.asking"):
        read, books = records(client, rules)
        found = steps.ask(read, factor, outcome, books, shape=words["shape"], remember=True)
    put_answer(found, read, books, form, factor, outcome)


def offer(folder: Path, rules_folder: Path | None, form: str, **others: Any) -> None:
    """Print questions that other clients' records suggest; nothing else can be asked beside."""
    from miner import steps
    from miner.words.ask import command_of, suggested_parts

    for name, given in others.items():
        if given:
            raise MinerError("cli.beside_suggest", option=f"--{name.replace('_', '-')}")
    books = steps.load_rules(rules_folder, folder)
    client_folder(folder)
    with progress("cli.looking_at_others") as report:
        found = steps.suggested_questions(folder, books, progress=report)

    def with_commands() -> dict[str, Any]:
        told = found.to_dict()
        for item, own in zip(told["questions"], found.questions, strict=True):
            item["command"] = command_of(own, str(folder))
        return told

    put_as(form, text=lambda: suggested_parts(found, books, str(folder)), json=with_commands)


def put_answer(
    found: Hypothesis, read: Client, books: RuleBook, form: str, factor: str, outcome: str
) -> None:
    """Print an answer; exit with 3 where there were too few days or meals to answer at all."""
    from miner.words.ask import answer_parts
    from miner.words.said import rules_at_door

    unit = books.unit_of(factor, outcome)

    put_as(
        form,
        text=lambda: cautioned(
            read,
            books,
            answer_parts(
                found, rules_at_door(books), unit=unit, display_unit=read.settings.display_unit
            ),
        ),
        json=found.to_dict,
    )
    guard = books.guardrails
    need = guard.fewest_days_to_rank if unit == "day" else guard.fewest_meals_to_rank
    if found.withheld is not None and found.counts.known + found.counts.unknown < need:
        click.get_current_context().exit(TOO_FEW)


def write_down(
    folder: Path, rules_folder: Path | None, form: str, factor: str, outcome: str, **how: Any
) -> None:
    """Write one question to the ledger of a client folder and print what was written."""
    from miner import steps
    from miner.words.ask import fixed_parts

    books = steps.load_rules(rules_folder, folder)
    client_folder(folder)
    how["fixed_on"] = date.fromisoformat(how["fixed_on"]) if how["fixed_on"] else None
    notes = steps.fix_question(folder, factor, outcome, books, **how)
    asked = steps.fixed_questions(folder)
    if form == "text":
        show(fixed_parts(folder.resolve().name, asked, books, notes))
        return
    answer: dict[str, Any] = {"factors": [factor], "outcome": outcome, "fixed_before": True}
    try:
        # the answer that comes with fixing it is no look: more may be written down after it
        read, rules = records(folder, rules_folder)
        answer = steps.ask(read, factor, outcome, rules).to_dict()
    except MinerError:
        answer["fixed_on"] = asked[-1].fixed_on
    put_json(answer | {"written": asked[-1].to_dict(), "advice": [str(note) for note in notes]})
