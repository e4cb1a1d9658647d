"""Every way a command can fail, as one message on standard error and an exit code."""

from __future__ import annotations

import sys
import traceback
from typing import Any

import click

from miner.cli.output import complain, complain_parts, say
from miner.core.facts import HELD
from miner.core.messages import Message, MinerError, message

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
    if told is not None and told.code.startswith(HELD):
        from miner.words.cautions import refusal_parts

        complain_parts(refusal_parts(told))
        return BAD_INPUT
    if told is not None:
        complain(told.message)
        return BAD_INPUT
    say("cli.fault_debugged" if debug else "cli.fault", error=str(error))
    return FAULT


def interrupted() -> int:
    """Say that the command was stopped and return the exit code."""
    say("cli.stopped")
    return INTERRUPTED


def _as_input(error: Exception) -> MinerError | None:
    if isinstance(error, MinerError):
        return error
    if isinstance(error, click.UsageError):
        return _usage(error)
    if isinstance(error, OSError) and error.errno is not None:
        what = error.strerror or message("cli.cannot_be_used")
        return MinerError("cli.not_usable", what=what, file=error.filename)
    return None


def _usage(error: click.UsageError) -> MinerError:
    path, usage = "miner", str(message("cli.without_command"))
    if error.ctx is not None:
        path = error.ctx.command_path
        usage = " ".join(error.ctx.get_usage().partition(": ")[2].split())
    param = getattr(error, "param", None)
    if isinstance(error, click.NoSuchOption):
        close = next(iter(error.possibilities or ()), None)
        return MinerError(
            "cli.no_option", name=error.option_name, usage=usage, path=path, close=close
        )
    if isinstance(error, click.MissingParameter) and param is not None:
        return MinerError("cli.missing", name=_name(param), usage=usage, path=path)
    if isinstance(error, click.BadParameter) and param is not None:
        wanted = _expected(param.type) or usage
        what = " ".join(error.message.split())
        return MinerError("cli.bad_value", name=_name(param), what=what, wanted=wanted, path=path)
    what = " ".join(error.format_message().split())
    return MinerError("cli.bad_usage", what=what, wanted=usage, path=path)


def _name(param: click.Parameter) -> str:
    return max(param.opts, key=len) if param.opts[0].startswith("-") else param.human_readable_name


def _expected(kind: Any) -> Message | None:
    if kind in (click.INT, click.FLOAT):
        return message("core.int_type" if kind is click.INT else "core.float_type")
    return getattr(kind, "expected", None)
