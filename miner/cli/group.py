"""The group of commands: each is loaded only when it is called."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import click

from miner.cli.faults import explain, interrupted
from miner.cli.options import debug_option
from miner.core.messages import MinerError, closest
from miner.words.amounts import MG_DL, in_unit
from miner.words.door import naming
from miner.words.help import HELP

COMMANDS = (
    "demo",
    "check",
    "map",
    "note",
    "merge",
    "rank",
    "why",
    "day",
    "days",
    "meals",
    "ask",
    "keep",
    "follow",
    "history",
    "plan",
    "result",
    "brief",
    "export",
    "open",
    "caseload",
    "error-rate",
    "generate",
)


OF_EVERY_COMMAND = ("--format", "--rules", "--debug")
"""Options that every command has; they are the last ones in its help."""


class Commands(click.Group):
    """A group that loads a command when it is called and tells faults in one message."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click passes it)
        """Return the names in the order of the help."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 (click passes it)
        """Load one command, or return None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"miner.cli.{cmd_name.replace('-', '_')}")
        command: click.Command = module.command
        command.params.sort(key=lambda each: each.opts[0] in OF_EVERY_COMMAND)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that was asked for, or name the nearest one."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            close = closest(args[0], COMMANDS)
            raise MinerError("cli.no_command", name=args[0], known=list(COMMANDS), close=close)
        return super().resolve_command(ctx, args)

    def get_help(self, ctx: click.Context) -> str:  # noqa: ARG002 (click passes it)
        """Return the help, which loads none of the commands."""
        return HELP.rstrip("\n")

    def main(self, args: Sequence[str] | None = None, *rest: Any, **extra: Any) -> Any:
        """Run a command; every way out is an exit code of the contract."""
        given = list(sys.argv[1:] if args is None else args)
        extra["standalone_mode"] = False
        extra.setdefault("prog_name", "miner")
        with in_unit(MG_DL), naming("CLIENT"):
            try:
                code = super().main(given, *rest, **extra)
            except (click.Abort, KeyboardInterrupt):
                code = interrupted()
            except Exception as error:
                code = explain(error, debug="--debug" in given)
        sys.exit(code if isinstance(code, int) else 0)


@click.group(cls=Commands, invoke_without_command=True)
@click.version_option(None, "--version", package_name="miner", message="miner %(version)s")
@debug_option
@click.pass_context
def miner(ctx: click.Context) -> None:
    """Run a command; without one, print the help."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())
