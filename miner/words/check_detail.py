"""The check in full: each stream, each habit, each finding."""

from __future__ import annotations

from collections import defaultdict

from miner.core.errors import MinerError, several
from miner.core.messages import Message
from miner.core.results import CheckReport, Finding, Severity
from miner.ledger import NAME as LEDGER
from miner.words.amounts import fixed
from miner.words.cautions import Cautions
from miner.words.document import Parts, Side, paragraph, section, table
from miner.words.safe import clean, name

_LEDGER_TITLE = "What was fixed, kept and read: the ledger"
_LONGEST = 2000

_TITLES = {
    Severity.STOP: "Must be put right",
    Severity.QUESTION: "Questions for you",
    Severity.LEFT_OUT: "Left out",
    Severity.NOTE: "Notes",
}
_STREAM_COLUMNS: tuple[tuple[str, Side], ...] = (
    ("stream", "left"),
    ("rows", "right"),
    ("used", "right"),
    ("days", "right"),
    ("from", "left"),
    ("to", "left"),
    ("every", "right"),
    ("longest gap", "right"),
)


def detail_of_check(report: CheckReport) -> Parts:
    """Return everything a check holds, as headings, paragraphs and tables."""
    cautions = Cautions(report.cautions)
    return [
        paragraph(""),
        *cautions.first(),
        *cautions.beside(),
        *section("Streams", _streams(report)),
        *section("Days that cannot be used", _not_usable(report)),
        *section("Habits, and on how many days each is known", _known(report)),
        *section(_LEDGER_TITLE, [paragraph(_finding(item), 2) for item in _of_ledger(report)]),
        *_findings(report),
        *cautions.last(patterns=False),
    ]


def _streams(report: CheckReport) -> Parts:
    rows, files = [], []
    for stream, item in report.streams.items():
        every = "-" if item.cadence_min is None else f"{item.cadence_min:g} min"
        gap = "-" if item.longest_gap_h is None else f"{fixed(item.longest_gap_h, 1)} h"
        first, last = (_day(moment) for moment in (item.first, item.last))
        rows.append(
            (stream, str(item.rows), str(item.used), str(item.days), first, last, every, gap)
        )
        if item.files:
            files.append(f"{stream}: {', '.join(name(file) for file in item.files)}")
    if not rows:
        return []
    return [table(_STREAM_COLUMNS, rows, gap=2), paragraph("; ".join(files), 2, limit=_LONGEST)]


def _day(moment: str | None) -> str:
    return "-" if moment is None else clean(moment[:10])


def _not_usable(report: CheckReport) -> Parts:
    by_reason: dict[Message, list[str]] = defaultdict(list)
    for day, reason in report.not_usable.items():
        by_reason[reason].append(day)
    ordered = sorted(by_reason.items(), key=lambda pair: (-len(pair[1]), str(pair[0])))
    return [
        paragraph(f"{several(len(days), 'day')}: {clean(reason, 200)} ({', '.join(days)})", 2)
        for reason, days in ordered
    ]


def _known(report: CheckReport) -> Parts:
    known = [f"{name(habit, 40)} {count}" for habit, count in report.known_factors.items()]
    return [paragraph(", ".join(known), 2, limit=4000)] if known else []


def _findings(report: CheckReport) -> Parts:
    parts: Parts = []
    for severity, title in _TITLES.items():
        found = [
            item
            for item in report.findings
            if item.severity is severity and item not in _of_ledger(report)
        ]
        body: Parts = [paragraph(_finding(item), 2) for item in found]
        parts += section(f"{title} ({len(found)})", body)
    return parts


def _of_ledger(report: CheckReport) -> list[Finding]:
    return [item for item in report.findings if item.file == LEDGER]


def _finding(item: Finding) -> str:
    parts = [clean(part, _LONGEST) for part in (item.what, item.expected, item.do)]
    place = None if item.file is None else name(item.file)
    error = MinerError(*parts, file=place, row=item.row)
    told = str(item.count) in item.what
    times = f" ({item.count} times)" if item.count > 1 and not told else ""
    return f"{error.message}{times}"
