"""A check for people: what was read, which days can be used, what was found."""

from __future__ import annotations

from collections import defaultdict

from rich.console import JustifyMethod

from miner.brief.text.amounts import fixed
from miner.brief.text.cautions import Cautions
from miner.brief.text.layout import Parts, heading, paragraph, section, table
from miner.brief.text.safe import clean
from miner.errors import MinerError, several
from miner.ledger import NAME as LEDGER
from miner.results import CheckReport, Finding, Severity

SHOWN_A_SEVERITY = 8
_LEDGER_TITLE = "What was fixed, kept and read: the ledger"

_TITLES = {
    Severity.STOP: "Must be put right",
    Severity.QUESTION: "Questions for you",
    Severity.LEFT_OUT: "Left out",
    Severity.NOTE: "Notes",
}
_STREAM_COLUMNS: tuple[tuple[str, JustifyMethod], ...] = (
    ("stream", "left"),
    ("rows", "right"),
    ("used", "right"),
    ("days", "right"),
    ("from", "left"),
    ("to", "left"),
    ("every", "right"),
    ("longest gap", "right"),
)


def check_parts(report: CheckReport, *, all_of: bool = False) -> Parts:
    """Return a check as headings, paragraphs and tables.

    Args:
        report: what ``check`` found.
        all_of: every finding, however many.
    """
    most = len(report.findings) if all_of else SHOWN_A_SEVERITY
    cautions = Cautions(report.cautions)
    span = f", {report.first_day} to {report.last_day}" if report.first_day else ""
    lead = f"{report.usable_days} of {several(report.days, 'day')} can be used"
    return [
        *cautions.first(),
        *_findings(report, most, Severity.STOP),
        heading(f"{report.client}{span}: {lead}."),
        *cautions.beside(),
        *section("Streams", _streams(report)),
        *section("Days that cannot be used", _not_usable(report)),
        *section("Habits, and on how many days each is known", _known(report)),
        *section(_LEDGER_TITLE, [paragraph(_finding(item), 2) for item in _of_ledger(report)]),
        *_findings(report, most, Severity.QUESTION, Severity.LEFT_OUT, Severity.NOTE),
        *cautions.last(patterns=False),
    ]


def _streams(report: CheckReport) -> Parts:
    rows, files = [], []
    for name, item in report.streams.items():
        every = "-" if item.cadence_min is None else f"{item.cadence_min:g} min"
        gap = "-" if item.longest_gap_h is None else f"{fixed(item.longest_gap_h, 1)} h"
        first, last = (_day(moment) for moment in (item.first, item.last))
        rows.append((name, str(item.rows), str(item.used), str(item.days), first, last, every, gap))
        if item.files:
            files.append(f"{name}: {', '.join(clean(file, 60) for file in item.files)}")
    if not rows:
        return []
    return [table(_STREAM_COLUMNS, rows, gap=2), paragraph("; ".join(files), 2, limit=800)]


def _day(moment: str | None) -> str:
    return "-" if moment is None else clean(moment[:10])


def _not_usable(report: CheckReport) -> Parts:
    by_reason: dict[str, list[str]] = defaultdict(list)
    for day, reason in report.not_usable.items():
        by_reason[reason].append(day)
    ordered = sorted(by_reason.items(), key=lambda pair: (-len(pair[1]), pair[0]))
    return [
        paragraph(f"{several(len(days), 'day')}: {clean(reason, 200)} ({', '.join(days)})", 2)
        for reason, days in ordered
    ]


def _known(report: CheckReport) -> Parts:
    known = [f"{clean(name, 40)} {count}" for name, count in report.known_factors.items()]
    return [paragraph(", ".join(known), 2, limit=4000)] if known else []


def _findings(report: CheckReport, most: int, *severities: Severity) -> Parts:
    parts: Parts = []
    for severity in severities:
        found = [
            item
            for item in report.findings
            if item.severity == severity and item not in _of_ledger(report)
        ]
        body: Parts = [paragraph(_finding(item), 2) for item in found[:most]]
        if len(found) > most:
            more = len(found) - most
            body.append(paragraph(f"and {more} more; --format json shows all", 2))
        parts += section(f"{_TITLES[severity]} ({len(found)})", body)
    return parts


def _of_ledger(report: CheckReport) -> list[Finding]:
    return [item for item in report.findings if item.file == LEDGER]


def _finding(item: Finding) -> str:
    parts = [clean(part, 200) for part in (item.what, item.expected, item.do)]
    error = MinerError(*parts, file=item.file, row=item.row)
    told = str(item.count) in item.what
    times = f" ({item.count} times)" if item.count > 1 and not told else ""
    return f"{error.message}{times}"
