"""Where results and messages go: results to standard output, all else to standard error."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, TextIO

from miner.core.messages import Message
from miner.words.amounts import MG_DL, in_unit

if TYPE_CHECKING:
    from miner.words.document import Part

WIDTH, WIDEST, NARROWEST = 80, 100, 40


def put(text: str) -> None:
    r"""Write a result to standard output; a reader that has gone away is no fault.

    What the output's encoding does not hold is written as ``\xe9``.
    """
    _write(sys.stdout, text)


def put_as(form: str, width: int = 0, **made: Callable[[], Any]) -> None:
    """Write a result in one form; no other one is made.

    Args:
        form: ``text``, ``json`` or ``csv``.
        width: columns of a line of text, where they are not the usual ones.
        made: for each form what makes it: parts of a document, plain values, the rows as text.
    """
    if form == "text":
        show(made["text"](), width or WIDTH)
        return
    with in_unit(MG_DL):
        found = made[form]()
        put_json(found) if form == "json" else put(found)


def say(code: str, **values: object) -> None:
    """Write a message, by its code and values, to standard error."""
    complain(Message(code, values))


def complain(text: Message | str) -> None:
    """Write one message on one line to standard error."""
    from miner.words.safe import clean

    _write(sys.stderr, f"{clean(str(text), 2000)}\n")


def complain_parts(parts: Iterable[Part]) -> None:
    """Write a message of several lines to standard error."""
    from miner.render.terminal import render

    _write(sys.stderr, render(parts, WIDTH))


def put_json(value: Any) -> None:
    """Write plain values as JSON, numbers in full; undefined is null, never NaN."""
    text = json.dumps(value, ensure_ascii=False, indent=1, allow_nan=False)
    if not _holds(sys.stdout, text):
        text = json.dumps(value, ensure_ascii=True, indent=1, allow_nan=False)
    put(f"{text}\n")


def show(parts: Iterable[Part], width: int = WIDTH) -> None:
    """Write headings, paragraphs and tables, bold only on a terminal.

    Args:
        parts: what the ``*_parts`` functions of ``miner.words`` return.
        width: columns of a line where standard output is not a terminal.
    """
    from miner.render.terminal import render

    terminal = sys.stdout.isatty()
    width = shutil.get_terminal_size((width, 24)).columns if terminal else width
    styled = terminal and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
    put(render(parts, min(max(width, NARROWEST), WIDEST), styled=styled))


def _encoding(stream: TextIO) -> str:
    return stream.encoding or "utf-8"


def _holds(stream: TextIO, text: str) -> bool:
    try:
        text.encode(_encoding(stream))
    except UnicodeEncodeError:
        return False
    return True


def _write(stream: TextIO | None, text: str) -> None:
    if stream is None:
        return
    encoding = _encoding(stream)
    try:
        stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
        stream.flush()
    except OSError as error:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
        if not isinstance(error, BrokenPipeError):
            raise
