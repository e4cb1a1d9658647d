"""Arguments and options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def day(text: str) -> str:
    """Return a date as ISO 8601 writes it, for an option's ``type``."""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise click.BadParameter(f"'{text}' is not a date.") from error


def debug_option(function: F) -> F:
    """Add ``--debug``, which is read from the arguments before they are parsed."""
    return click.option(
        "--debug", is_flag=True, expose_value=False, help="Show the traceback of a fault."
    )(function)


def client_argument(function: F) -> F:
    """Add the client folder, ``--rules`` and ``--debug``."""
    function = debug_option(function)
    function = click.option(
        "--rules",
        type=click.Path(path_type=Path),
        help="A folder with rule books of your own.",
    )(function)
    return click.argument("client", type=click.Path(path_type=Path))(function)


def format_option(*names: str) -> Callable[[F], F]:
    """Add ``--format``; the first name is the default."""

    def add(function: F) -> F:
        return click.option(
            "--format",
            "form",
            type=click.Choice(names),
            default=names[0],
            show_default=True,
            help="How results are printed.",
        )(function)

    return add
