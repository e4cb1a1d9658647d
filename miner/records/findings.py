"""Collects what is noticed while reading: one finding a file and kind, with a count."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pandas as pd

from miner.core.messages import Message, Severity
from miner.core.results.checking import Finding
from miner.records.text_columns import dates_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from miner.records.text_columns import Mask, Text

_ORDER = {Severity.STOP: 0, Severity.QUESTION: 1, Severity.LEFT_OUT: 2, Severity.NOTE: 3}

MAX_EXAMPLES = 3


class RowsOfFile(Protocol):
    """Rows of one file, with their line numbers, and its columns as text."""

    @property
    def file(self) -> str:
        """The file's name inside the client folder."""

    @property
    def rows(self) -> NDArray[np.int64]:
        """The line number of each row."""

    def text(self, column: str, /) -> Text:
        """Return a column as text."""


@dataclass(slots=True)
class Findings:
    """A growing list of findings."""

    items: list[Finding] = field(default_factory=list)

    def add(self, severity: Severity, code: str, /, **about: Any) -> None:
        """Add one finding; ``about`` holds its other fields by name, as in ``Finding``."""
        place = {"file": None, "row": None} | about
        self.items.append(Finding(severity, code=code, **place))

    def whole(self, severity: Severity, code: str, rows: pd.DataFrame, /, **about: Any) -> None:
        """Add one finding about all the rows together; it is at the first of them."""
        first = rows.iloc[0]
        place = {"file": str(first["file"]), "row": int(first["row"]), "count": len(rows)}
        self.add(severity, code, **place | about)

    def rows(
        self,
        severity: Severity,
        code: str,
        /,
        *,
        at: pd.DataFrame,
        shown: Iterable[Any] = (),
        **about: Any,
    ) -> None:
        """Add one finding a file for many rows.

        Args:
            severity: how much it matters.
            code: the kind of finding; examples follow its words in brackets.
            at: the rows it is about, with columns ``file`` and ``row``.
            shown: what is in each of them, as many as there are rows, or nothing.
            about: its other fields by name, such as ``stream`` and ``column``; the dates are
                those of the rows.
        """
        if at.empty:
            return
        values = pd.Series(list(shown), dtype=object)
        for _, group in at.reset_index(drop=True).groupby("file", sort=True):
            held = list(values.iloc[group.index]) if len(values) == len(at) else []
            unique = list(dict.fromkeys(_quoted(value) for value in held))
            place = {"row": int(group["row"].min()), "days": dates_of(group)}
            self.whole(
                severity,
                code,
                group,
                examples=tuple(unique[:MAX_EXAMPLES]),
                more=max(len(unique) - MAX_EXAMPLES, 0),
                **place | about,
            )

    def cells(
        self,
        severity: Severity,
        code: str,
        table: RowsOfFile,
        mask: Mask,
        of: str = "",
        /,
        **about: Any,
    ) -> None:
        """Add one finding for some rows of a file.

        Args:
            severity: how much it matters.
            code: the kind of finding.
            table: the rows of the file.
            mask: which of them it is about.
            of: the column whose cells are shown, and which the text names.
            about: as in ``rows``; ``shown`` where something else is shown.
        """
        if mask.any():
            if of:
                values = {"column": of} | about.pop("values", {})
                about = {"shown": table.text(of)[mask], "values": values} | about
            at = pd.DataFrame({"file": table.file, "row": table.rows[mask]})
            self.rows(severity, code, at=at, **about)

    def sorted(self) -> tuple[Finding, ...]:
        """Return the findings, the weightiest first, then by file and row."""

        def weight(f: Finding) -> tuple[object, ...]:
            return _ORDER[f.severity], f.file or "", f.row or 0, f.code, repr(f.values)

        return tuple(sorted(self.items, key=weight))


def _quoted(value: Any) -> str | Message:
    if isinstance(value, Message):
        return value
    if isinstance(value, float | np.floating):
        return f"{value:g}"
    text = str(value)
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"
