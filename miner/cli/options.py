"""Arguments and options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import click

from miner.core.messages import Message, message

F = TypeVar("F", bound=Callable[..., Any])


class Day(click.ParamType[str]):
    """A date as ISO 8601 writes it."""

    name = "date"
    expected = message("cli.a_date")

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the date."""
        try:
            return date.fromisoformat(value).isoformat()
        except ValueError:
            self.fail(str(message("cli.is_value", value=value)), param, ctx)


DAY = Day()
PATH = click.Path(path_type=Path)


class OneOf(click.Choice[str]):
    """One of a few words."""

    def __init__(self, *words: str) -> None:
        super().__init__(words)

    @property
    def expected(self) -> Message:
        """What may be given."""
        return message("cli.one_of", known=list(self.choices))

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the word."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(str(message("cli.is_value", value=value)), param, ctx)


class Whole(click.ParamType[int]):
    """A whole number from one to another."""

    name = "n"

    def __init__(self, least: int, most: int) -> None:
        self.least, self.most = least, most

    @property
    def expected(self) -> Message:
        """What may be given."""
        return message("cli.whole_number", low=self.least, high=self.most)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return the number."""
        try:
            number = int(value)
        except ValueError:
            number = self.least - 1
        if not self.least <= number <= self.most:
            self.fail(str(message("cli.is_value", value=value)), param, ctx)
        return number


def debug_option(function: F) -> F:
    """Add ``--debug``, which is read from the arguments before they are parsed."""
    return click.option(
        "--debug",
        is_flag=True,
        expose_value=False,
        help="Show the details of a fault of the program.",
    )(function)


def client_argument(function: F) -> F:
    """Add the client folder, ``--rules`` and ``--debug``."""
    own = click.option("--rules", type=PATH, help="Use the rule books in this folder.")
    return click.argument("client", type=PATH)(own(debug_option(function)))


def pattern_argument(function: F) -> F:
    """Add the pattern, by its number in the last ranking shown or by its ID."""
    return click.argument("pattern", metavar="PATTERN")(function)


def format_option(*names: str) -> Callable[[F], F]:
    """Add ``--format``; the first name is the default."""

    def add(function: F) -> F:
        return click.option(
            "--format",
            "form",
            type=OneOf(*names),
            default=names[0],
            show_default=True,
            help="Choose text for people, or a form for other programs.",
        )(function)

    return add
