"""Every way a command can fail, as one message on standard error and an exit code."""

from __future__ import annotations

import sys
import traceback
from typing import Any

import click

from miner.cli.output import complain
from miner.core.errors import MinerError

FAULT, BAD_INPUT, TOO_FEW, INTERRUPTED = 1, 2, 3, 130


def explain(error: Exception, *, debug: bool) -> int:
    """Tell what went wrong in one message and return the exit code.

    Args:
        error: what a command raised.
        debug: print the traceback as well.
    """
    if debug:
        traceback.print_exception(error, file=sys.stderr)
    told = _as_input(error)
    if told is not None:
        complain(told.message)
        return BAD_INPUT
    again = "" if debug else " Please run again with --debug and report what it prints."
    complain(f"This is a fault of the program, not of your records ({error}).{again}")
    return FAULT


def interrupted() -> int:
    """Say that the command was stopped and return the exit code."""
    complain("Stopped before it was finished.")
    return INTERRUPTED


def _as_input(error: Exception) -> MinerError | None:
    if isinstance(error, MinerError):
        return error
    if isinstance(error, click.UsageError):
        return _usage(error)
    if isinstance(error, OSError) and error.errno is not None:
        return MinerError(
            error.strerror or "it cannot be used",
            "a place this program may read and write",
            "Check the path, its permissions and the space left, and run again.",
            file=error.filename,
        )
    return None


def _usage(error: click.UsageError) -> MinerError:
    path = error.ctx.command_path if error.ctx else "miner"
    expected = error.ctx.get_usage().partition(": ")[2] if error.ctx else "miner COMMAND"
    do = f"See '{path} --help'."
    found = error.format_message()
    if isinstance(error, click.NoSuchOption):
        found = f"there is no option '{error.option_name}' here"
        if error.possibilities:
            do = f"Did you mean '{error.possibilities[0]}'?"
    elif isinstance(error, click.MissingParameter) and error.param is not None:
        found = f"{_name(error.param)} is missing"
    elif isinstance(error, click.BadParameter) and error.param is not None:
        found = f"{_name(error.param)} {_plain(error.message)}"
        expected = _values(error.param.type) or expected
    return MinerError(" ".join(found.split()), " ".join(expected.split()), do)


def _name(param: click.Parameter) -> str:
    return max(param.opts, key=len) if param.opts[0].startswith("-") else param.human_readable_name


def _plain(message: str) -> str:
    value, found, _ = message.partition(" is not in the range")
    return f"{value} is out of range" if found else message


def _values(kind: Any) -> str:
    if isinstance(kind, click.Choice):
        return f"one of {', '.join(str(choice) for choice in kind.choices)}"
    if isinstance(kind, click.IntRange):
        upper = "" if kind.max is None else f" to {kind.max}"
        return f"a whole number from {kind.min}{upper}"
    own = getattr(kind, "expected", "")
    return own or ("a date like 2026-03-01" if getattr(kind, "name", "") == "day" else "")
