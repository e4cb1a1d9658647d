"""Collects what is noticed while reading: one finding a file and kind, with a count."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from miner.core.messages import Message
from miner.core.results import Finding, Severity

_ORDER = {Severity.STOP: 0, Severity.QUESTION: 1, Severity.LEFT_OUT: 2, Severity.NOTE: 3}

MAX_EXAMPLES = 3


@dataclass(slots=True)
class Findings:
    """A growing list of findings."""

    items: list[Finding] = field(default_factory=list)

    def add(
        self,
        severity: Severity,
        said: str,
        /,
        *texts: str,
        file: str | None = None,
        row: int | None = None,
        count: int = 1,
        **about: Any,
    ) -> None:
        """Add one finding, everything as in ``Finding``; ``about`` holds its other fields by name.

        Of what is not yet a code alone, ``said`` is what was found and ``texts`` are what was
        expected and what to do; '{n}' and '(s)' follow the count.
        """
        if texts:
            whole = (_count(said, count), *texts, about.pop("short", ""))
            about |= {"texts": whole}
        else:
            about |= {"code": said}
        self.items.append(Finding(severity, file, row, count=count, **about))

    def rows(
        self,
        severity: Severity,
        said: str,
        /,
        *texts: str,
        at: pd.DataFrame,
        shown: Iterable[Any] = (),
        **about: Any,
    ) -> None:
        """Add one finding a file for many rows.

        Args:
            severity: how much it matters.
            said: the code; examples follow in brackets.
            texts: as for ``add``.
            at: the rows it is about, with columns ``file`` and ``row``.
            shown: what stands in each of them, as many as there are rows, or nothing.
            about: its other fields by name, such as ``code``, ``stream`` and ``column``; the
                dates are those of the rows.
        """
        if at.empty:
            return
        values = pd.Series(list(shown), dtype=object)
        for file, group in at.reset_index(drop=True).groupby("file", sort=True):
            shown = list(values.iloc[group.index]) if len(values) == len(at) else []
            unique = list(dict.fromkeys(_quoted(value) for value in shown))
            examples, more = tuple(unique[:MAX_EXAMPLES]), max(len(unique) - MAX_EXAMPLES, 0)
            what = said
            if texts:
                what = said + (_examples(unique) if shown else "")
                about = {"short": _count(said, len(group))} | about
            self.add(
                severity,
                what,
                *texts,
                file=str(file),
                row=int(group["row"].min()),
                count=len(group),
                **{"days": _dates(group), "examples": examples, "more": more} | about,
            )

    def sorted(self) -> tuple[Finding, ...]:
        """Return the findings, the weightiest first, then by file and row."""
        return tuple(
            sorted(
                self.items,
                key=lambda f: (_ORDER[f.severity], f.file or "", f.row or 0, f.what),
            )
        )


def _dates(rows: pd.DataFrame) -> tuple[str, ...]:
    """Return the dates of rows that have a wall clock, in order."""
    clock = next((name for name in ("clock", "start_clock") if name in rows.columns), None)
    if clock is None:
        return ()
    return tuple(np.unique(rows[clock].dropna().to_numpy().astype("datetime64[D]")).astype(str))


def _count(what: str, number: int) -> str:
    return what.replace("{n}", str(number)).replace("(s)", "" if number == 1 else "s")


def _examples(unique: Sequence[Any], most: int = MAX_EXAMPLES) -> str:
    more = f" and {len(unique) - most} more" if len(unique) > most else ""
    return f" ({', '.join(map(str, unique[:most]))}{more})"


def _quoted(value: Any) -> str | Message:
    if isinstance(value, Message):
        return value
    if isinstance(value, float | np.floating):
        return f"{value:g}"
    text = str(value)
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"
