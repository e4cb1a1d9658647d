"""The group of commands: each is loaded only when it is called."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import click

from miner.cli.faults import explain, interrupted
from miner.cli.options import debug_option
from miner.core.errors import MinerError, nearest

COMMANDS = {
    "demo": ("miner.cli.demo", "Write an invented practice and rank one of its clients."),
    "check": ("miner.cli.check", "What was read, what is wrong with it, which days can be used."),
    "map": ("miner.cli.map", "Proposes how a file of unknown columns could be read."),
    "note": ("miner.cli.note", "Adds or mends a meal or a tag; notes on days and sessions."),
    "merge": ("miner.cli.merge", "Tags or foods that mean the same, under one word."),
    "days": ("miner.cli.days", "The daily table: outcomes and habits, a row a day."),
    "meals": ("miner.cli.meals", "The table by meal; similar meals with and without a habit."),
    "day": ("miner.cli.day", "One day of a client; of a practice, whom to look at first."),
    "ask": ("miner.cli.ask", "One question, answered or written down before the records."),
    "rank": ("miner.cli.rank", "Which habits came before, or went with, higher glucose."),
    "why": ("miner.cli.why", "Every day behind an entry, with the file and row of each value."),
    "error-rate": ("miner.cli.error_rate", "How often this would claim something untrue."),
    "brief": ("miner.cli.brief", "Pages: preparation, session, take-home, doctor."),
    "keep": ("miner.cli.keep", "Keep a hypothesis, to be judged on days that did not suggest it."),
    "follow": ("miner.cli.follow", "What new days say of what was kept."),
    "plan": ("miner.cli.plan", "An alternating test in one person."),
    "result": ("miner.cli.result", "What an alternating test showed."),
    "history": ("miner.cli.history", "The story of a client's questions."),
    "export": ("miner.cli.export", "The client's records, to take away."),
    "caseload": ("miner.cli.caseload", "Every client of a practice, and what they share."),
    "open": ("miner.cli.open", "The practitioner's page, on this machine."),
    "generate": ("miner.cli.generate", "An invented practice of any size."),
}


class Commands(click.Group):
    """A group that lists its commands from a table and tells faults in one message."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click passes it)
        """Return the names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 (click passes it)
        """Load one command, or return None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(COMMANDS[cmd_name][0]).command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that was asked for, or name the nearest one."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            raise MinerError(
                f"there is no command '{args[0]}'",
                f"one of {', '.join(COMMANDS)}",
                nearest(args[0], COMMANDS) or "See 'miner --help'.",
            )
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 (click passes it)
        """Write the table of commands without loading any of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def main(self, args: Sequence[str] | None = None, *rest: Any, **extra: Any) -> Any:
        """Run a command; every way out is an exit code of the contract."""
        given = list(sys.argv[1:] if args is None else args)
        extra["standalone_mode"] = False
        extra.setdefault("prog_name", "miner")
        try:
            code = super().main(given, *rest, **extra)
        except (click.Abort, KeyboardInterrupt):
            code = interrupted()
        except Exception as error:
            code = explain(error, debug="--debug" in given)
        sys.exit(code if isinstance(code, int) else 0)


EXIT_CODES = (
    "Exit codes. 0: finished, whatever was found. 1: a fault of the program. 2: bad input or "
    "usage. 3: too few usable days to rank. 130: stopped at the keyboard."
)


@click.group(cls=Commands, epilog=EXIT_CODES, invoke_without_command=True)
@click.version_option(None, "--version", package_name="miner", message="miner %(version)s")
@debug_option
@click.pass_context
def miner(ctx: click.Context) -> None:
    """Find which habits come before, or go with, one client's higher glucose.

    CLIENT is a folder with one client's records. Start with 'miner demo'.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())
