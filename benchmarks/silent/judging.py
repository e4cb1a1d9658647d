"""Whether a changed file was read as it is known, told of, or read wrongly without a word."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.silent.files import Client, write_client
from miner import steps
from miner.core.messages import MinerError
from miner.core.results import Finding, Severity
from miner.records.client import Client as Record
from miner.rulebook import RuleBook, load

ORDINARY = {
    "too_few_readings", "unlogged_rises", "nights_missing", "tracker_not_worn", "late_meals",
    "rare_tags", "naps", "fading_log", "pressure_low",
}  # fmt: skip
"""Findings about a client's days and logging: they never name a fault of a file."""
ASIDE = ["file", "row", "left_out", "twin"]
DIGITS = re.compile(r"[\d.,:%+-]+|'[^']*'|\([^)]*\)")
MORE = 3
"""A finding of so many times the rows is another one."""

NEAR = 0.06
"""A reading in mmol/L with one decimal is known to half of this in mmol/L."""


@dataclass(frozen=True)
class Reading:
    """What came of reading a client, or why it was refused."""

    client: Record | None
    refused: str = ""

    @property
    def worn(self) -> Mapping[str, pd.DataFrame]:
        """When the tracker was on, by stream."""
        return self.client.worn if self.client else {}

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was found while reading."""
        return self.client.findings if self.client else ()

    @cached_property
    def checked(self) -> tuple[Finding, ...]:
        """What `miner check` reports; its own notes, about days and logging, left aside."""
        if self.client is None:
            return ()
        report = steps.check(self.client, _rules())
        return tuple(each for each in report.findings if each.severity is not Severity.NOTE)

    def used(self, stream: str) -> pd.DataFrame:
        """Return the records of a stream that are used."""
        if self.client is None:
            return pd.DataFrame()
        return self.client.used(stream).drop(columns=ASIDE, errors="ignore")


@cache
def _rules() -> RuleBook:
    return load()


def read(files: Client, declared: Client) -> Reading:
    """Write a client's files and read them."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "practice" / "client"
        write_client(folder, files, declared)
        try:
            return Reading(steps.read_client(folder, _rules()))
        except MinerError as error:
            return Reading(None, str(error))


def differs(known: Reading, found: Reading, stream: str) -> bool:
    """Say whether any record of a stream is another than it is known to be, or is missing."""
    same = _equal(known.used(stream), found.used(stream))
    if stream in known.worn or stream in found.worn:
        worn = [each.worn.get(stream, pd.DataFrame()) for each in (known, found)]
        same = same and _equal(*worn)
    return not same


def _equal(one: pd.DataFrame, two: pd.DataFrame) -> bool:
    if len(one) != len(two) or set(one) != set(two):
        return False
    order = list(one.columns)
    one, two = (each[order].sort_values(order, ignore_index=True) for each in (one, two))
    return all(_same(one[name], two[name]) for name in order)


def _same(one: pd.Series, two: pd.Series) -> bool:
    if pd.api.types.is_numeric_dtype(one) and pd.api.types.is_numeric_dtype(two):
        return bool(
            np.isclose(one.astype(float), two.astype(float), atol=NEAR, equal_nan=True).all()
        )
    return bool((one.astype("str") == two.astype("str")).all())


def plain(finding: Finding) -> tuple[str, str | None, str]:
    """Return what a finding is about, without its numbers and examples."""
    return finding.severity, finding.file, DIGITS.sub("#", finding.what)


def told(known: Reading, found: Reading, stream: str, says: str) -> str:
    """Return what is said of a stream that was not said, or of fewer, of the file as known."""
    for usual, said in ((known.findings, found.findings), (known.checked, found.checked)):
        old = {plain(each): each.count or 0 for each in usual}
        for finding in said:
            more = (finding.count or 0) > MORE * old.get(plain(finding), 0)
            if (more or plain(finding) not in old) and names_fault(finding, stream, says):
                return finding.what
    return ""


def names_fault(finding: Finding, stream: str, says: str) -> bool:
    """Say whether a finding names a stream and a kind of fault."""
    return (
        finding.code not in ORDINARY
        and about(finding, stream)
        and bool(re.search(says, f"{finding.what} {finding.expected} {finding.do}", re.IGNORECASE))
    )


def about(finding: Finding, stream: str) -> bool:
    """Say whether a finding names a stream or a column of it."""
    words = {
        "glucose": "reading|glucose|sensor",
        "activity": "activity|movement|step|walk",
        "sleep": "sleep|asleep|night",
    }
    names = re.compile(rf"\b({words.get(stream, stream.rstrip('s'))}|{stream})", re.IGNORECASE)
    named = finding.stream == stream or (finding.file or "").startswith(stream)
    return named or bool(names.search(finding.what))


def verdict(known: Reading, found: Reading, stream: str, says: str) -> tuple[str, str]:
    """Return right, told, refused or silent, and what was said."""
    if found.refused:
        fits = re.search(says, found.refused, re.IGNORECASE) and stream in found.refused
        return ("refused" if fits else "silent"), found.refused
    stops = [each for each in found.findings if each.severity is Severity.STOP]
    if not stops and not differs(known, found, stream):
        return "right", ""
    said = told(known, found, stream, says)
    return ("told", said) if said else ("silent", "; ".join(each.what for each in stops))
