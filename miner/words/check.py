"""A check on one screen: which days can be used, what is to be done, what was decided."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

from miner.core.messages import Message, MinerError, several
from miner.core.results import CheckReport, Finding, Severity, StreamSummary
from miner.rulebook import RuleBook
from miner.words.amounts import fixed
from miner.words.cautions import CautionBlocks
from miner.words.document import Fitted, Parts, heading, paragraph, section, table
from miner.words.document import item as numbered
from miner.words.safe import clean, name
from miner.words.said import book, tells_count
from miner.words.sentences import factor_name, factor_words
from miner.words.wording import capital, day_and_month, listed, some_days, span_words

REAL, VERY_LOW = "One is very low, so take it as real and refer first. ", 54
_IN_NOT_USED = ("too_few_readings", "day_left_out")
"""What the list of days that are not used says already."""

_BY_FILE = ("file_left_out",)
"""What is to be done for each file by itself."""

_BOOK = book("check")
TO_DO: dict[str, str] = _BOOK["to_do"]
_COUNTED, _TOGETHER = _BOOK["counted"], frozenset(_BOOK["together"])


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do: its words, after the days that it would settle where these can be counted.

    Attributes:
        stops: nothing can be used until it is done.
    """

    told: str
    gain_days: int = 0
    stops: bool = False


def steps(report: CheckReport) -> list[Step]:
    """Return what is to be done: what stops the work, then what would settle most days.

    Args:
        report: the check; its findings of one code are one step.
    """
    found = [_step(group) for group in _groups([x for x in report.findings if _is_to_do(x)])]
    found.sort(key=lambda step: (not step.stops, -step.gain_days))
    return [*found, *([Step(_to_ask(report.intake_not_asked))] if report.intake_not_asked else [])]


def _step(group: list[Finding]) -> Step:
    stops = group[0].severity is Severity.STOP
    days = 0 if stops else _gain(group)
    own = group[0].code in TO_DO
    text, placed = _words(group), bool(_place(group[0])) and not own
    text = f"{text} It is about {several(days, 'day')}." if days and not own else text
    # The name of a file stays as it is.
    return Step(text if placed else capital(text), days, stops)


def decided(report: CheckReport) -> list[str]:
    """Return, in a few words each, what was left out or read in some way without a question."""
    found = [item for item in report.findings if not _is_to_do(item)]
    groups = _groups([item for item in found if item.code not in _IN_NOT_USED])
    groups.sort(key=lambda group: (group[0].severity is Severity.NOTE, -_count(group)))
    return [_phrase(group) for group in groups]


def _is_to_do(item: Finding) -> bool:
    asked = item.severity in (Severity.STOP, Severity.QUESTION)
    return asked or item.gain_days is not None or item.code in _BY_FILE


def _groups(found: Sequence[Finding]) -> list[list[Finding]]:
    """Return the findings of one code together where they are one step, else each by itself."""
    groups: dict[object, list[Finding]] = {}
    for place, item in enumerate(found):
        together = item.code in _TOGETHER
        groups.setdefault((item.severity, item.code) if together else place, []).append(item)
    return list(groups.values())


def _gain(group: list[Finding]) -> int:
    known = [item.gain_days for item in group if item.gain_days is not None]
    days = {day for item in group for day in item.days}
    return max([*known, len(days) if len(group) > 1 else 0]) if known else 0


def _count(group: list[Finding]) -> int:
    return sum(item.count for item in group)


def _words(group: list[Finding]) -> str:
    item = group[0]
    days = sorted({day for each in group for day in each.days})
    if item.code in TO_DO:
        return TO_DO[item.code].format(
            count=several(_count(group), _COUNTED.get(item.code, "record")),
            nights=several(len(days), "night"),
            on=several(len(days), "day"),
            days=some_days(days),
            real=REAL if any(_very_low(each) for each in group) else "",
        )
    more = f" And {len(group) - 1} more of the kind." if len(group) > 1 else ""
    return f"{_stop(_place(item) + _brief(item))} {_stop(item.do)}{more}"


def _very_low(item: Finding) -> bool:
    return float(item.values.get("lowest", VERY_LOW)) < VERY_LOW


def _phrase(group: list[Finding]) -> str:
    item = group[0]
    files = listed(sorted({name(each.file) for each in group if each.file}))
    more = f" ({len(group)} times)" if len(group) > 1 else ""
    return f"{_brief(item)}{f' ({files})' if files else ''}{more}"


def _place(item: Finding) -> str:
    where = [name(item.file)] if item.file else []
    where += [f"row {item.row}"] if item.row is not None else []
    return f"{', '.join(where)}: " if where else ""


def _brief(item: Finding) -> str:
    return clean(item.short or item.what, 2000)


def _to_ask(names: Sequence[str]) -> str:
    *first, last = [clean(each, 60) for each in names]
    return f"Ask about {', '.join(first)}, and {last}." if first else f"Ask about {last}."


def _stop(text: str) -> str:
    text = clean(text, 2000)
    return text if text.endswith((".", "?", "!")) else f"{text}."


MOST_LINES, WIDTH, LONGEST = 25, 80, 2000
LEDGER = "ledger.jsonl"
_LEDGER_TITLE = "What was fixed, kept and read: the ledger"

_TITLES = {
    Severity.STOP: "To correct first",
    Severity.QUESTION: "Questions for you",
    Severity.LEFT_OUT: "Left out",
    Severity.NOTE: "Notes",
}
_STREAM_COLUMNS = ("stream", ">rows", ">used", ">days", "from", "to", ">every", ">longest gap")


def detail_of_check(report: CheckReport, rules: RuleBook | None) -> Parts:
    """Return everything a check holds, as headings, paragraphs and tables."""
    cautions = CautionBlocks(report.cautions)
    return [
        paragraph(""),
        *section("Cautions in full", cautions.full()),
        *cautions.beside(),
        *section("Streams", _streams(report)),
        *section("Days that cannot be used", _not_usable(report)),
        *section("Habits, and on how many days each is known", _known(report, rules)),
        *section(_LEDGER_TITLE, [paragraph(finding_words(item), 2) for item in _of_ledger(report)]),
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
    listed_files = paragraph("; ".join(files), 2, limit=LONGEST)
    return [*table(_STREAM_COLUMNS, rows, gap=2), listed_files]


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


def _known(report: CheckReport, rules: RuleBook | None) -> Parts:
    known = [
        f"{name(factor_name(habit, rules, limit=160), 40)} {count}"
        for habit, count in report.known_factors.items()
    ]
    return [paragraph(", ".join(known), 2, limit=4000)] if known else []


def _findings(report: CheckReport) -> Parts:
    parts: Parts = []
    for severity, title in _TITLES.items():
        found = [
            item
            for item in report.findings
            if item.severity is severity and item not in _of_ledger(report)
        ]
        body: Parts = [paragraph(finding_words(item), 2) for item in found]
        parts += section(f"{title} ({len(found)})", body)
    return parts


def _of_ledger(report: CheckReport) -> list[Finding]:
    return [item for item in report.findings if item.file == LEDGER]


def finding_words(item: Finding, limit: int = LONGEST) -> str:
    """Return a finding with its place, and how often it was found where it does not say so.

    Args:
        item: what was found.
        limit: the longest part, in characters.
    """
    place = None if item.file is None else name(item.file)
    parts = {"found": item.what, "expected": item.expected, "do": item.do}
    shown = {part: clean(text, limit) for part, text in parts.items()}
    error = MinerError("words.finding", file=place, row=item.row, **shown)
    times = item.count > 1 and not tells_count(item)
    return f"{error.message} ({item.count} times)" if times else error.message


_RECORDS = ("Records", ">rows", ">days", "")
LEAST_KNOWN = 3
MOST_REASONS = 2


@dataclass(frozen=True, slots=True)
class _Room:
    """How much of each block is shown."""

    steps: int
    decided: int
    days: int = 0
    known: bool = True
    table: bool = True


_ROOMS = (
    _Room(8, 6, 4),
    _Room(8, 3, 2),
    _Room(5, 3),
    _Room(8, 6, table=False),
    _Room(8, 2, table=False),
    _Room(6, 2, known=False, table=False),
    _Room(5, 1, known=False, table=False),
    _Room(4, 1, known=False, table=False),
    _Room(3, 1, known=False, table=False),
    _Room(2, 0, known=False, table=False),
    _Room(1, 0, known=False, table=False),
)
"""From ample to tight: the first is taken that fits."""
_ALL = _Room(10_000, 10_000, 10_000)


def check_parts(
    report: CheckReport, rules: RuleBook | None = None, *, detail: bool = False
) -> Parts:
    """Return a check as headings, paragraphs and tables, in at most 25 lines of 80 columns.

    Args:
        report: what ``check`` found.
        rules: the rule books, for the names of habits.
        detail: everything else below it, however long.
    """
    if detail:
        return [*_in_room(report, rules, _ALL), *detail_of_check(report, rules)]
    choices = tuple(_in_room(report, rules, room) for room in _ROOMS)
    return [Fitted(choices, MOST_LINES, WIDTH)]


def _in_room(report: CheckReport, rules: RuleBook | None, room: _Room) -> Parts:
    found = steps(report)
    return [
        *CautionBlocks(report.cautions).first(),
        *_steps("To correct first", [each for each in found if each.stops], room.steps),
        heading(_lead(report)),
        *section("To do", _steps("", [each for each in found if not each.stops], room.steps)),
        *_not_used(report, room.days),
        *(_records(report) if room.table else _records_in_words(report)),
        *(_least_known(report, rules) if room.known and rules is not None else []),
        *_decided(report, room.decided),
    ]


def _lead(report: CheckReport) -> str:
    first, last = report.first_day, report.last_day
    span = f", {span_words(first, last)}" if first and last else ""
    lead = f"{name(report.client, 40)}{span}: "
    if any(item.severity is Severity.STOP for item in report.findings):
        return f"{lead}nothing can be used until that is corrected."
    return f"{lead}{report.usable_days} of {several(report.days, 'day')} can be used."


def _steps(title: str, found: list[Step], most: int) -> Parts:
    """Return steps with their numbers; what is said to ask at the intake is never left away."""
    shown = found if len(found) <= most else [*found[: most - 1], found[-1]]
    parts: Parts = [heading(title)] if title and shown else []
    parts += [numbered(str(at), step.told) for at, step in enumerate(shown, 1)]
    if more := len(found) - len(shown):
        parts.append(paragraph(f"And {several(more, 'more step')}: --detail"))
    return [*parts, paragraph("")] if title and shown else parts


def _not_used(report: CheckReport, most: int) -> Parts:
    few = [day for day in report.not_usable if day in report.covered]
    lines = [
        (day_and_month(day, short=True), f"readings for {_percent(report.covered[day])} of the day")
        for day in few
    ]
    by_reason: dict[Message, list[str]] = defaultdict(list)
    for day, reason in report.not_usable.items():
        if day not in report.covered:
            by_reason[reason].append(day)
    lines += [(some_days(days), clean(reason, 200)) for reason, days in by_reason.items()]
    if 0 < len(lines) <= most:
        if few:
            lines[0] = lines[0][0], f"{lines[0][1]}; 70 % are needed"
        width = max(len(lead) for lead, _ in lines)
        return section("Not used", [numbered(*line, 2, width=width) for line in lines])
    told = [f"{some_days(few)} for too few readings"] if few else []
    told += [f"{some_days(days)} ({clean(reason, 200)})" for reason, days in by_reason.items()]
    if len(told) > max(MOST_REASONS, most):
        told[MOST_REASONS:] = [f"{len(told) - MOST_REASONS} other reasons under --detail"]
    return [paragraph(""), paragraph(f"Not used: {'; '.join(told)}.")] if told else []


def _percent(share: float) -> str:
    return f"{floor(100 * share + 1e-9)} %"


def _records(report: CheckReport) -> Parts:
    rows = [
        (title, str(stream.rows), str(stream.days), _cadence(stream))
        for title, stream in report.streams.items()
    ]
    return [paragraph(""), *table(_RECORDS, rows, indent=0, gap=3)] if rows else []


def _records_in_words(report: CheckReport) -> Parts:
    told = []
    for title, stream in report.streams.items():
        every = _cadence(stream)
        days = several(stream.days, "day") if stream.rows else "none"
        told.append(f"{title} {days}{f' ({every})' if every else ''}")
    return [paragraph(""), paragraph(f"Records: {', '.join(told)}.")] if told else []


def _cadence(stream: StreamSummary) -> str:
    told = [] if stream.cadence_min is None else [f"every {stream.cadence_min:g} minutes"]
    if stream.longest_gap_h is not None:
        told.append(f"longest gap {fixed(stream.longest_gap_h, 1)} hours")
    return ", ".join(told)


def _least_known(report: CheckReport, rules: RuleBook) -> Parts:
    known = sorted(report.known_factors.items(), key=lambda pair: pair[1])
    least = [pair for pair in known if pair[1] < report.usable_days][:LEAST_KNOWN]
    if not least:
        return []
    by_days: dict[int, list[str]] = defaultdict(list)
    for habit, days in least:
        by_days[days].append(factor_words(habit, rules))
    told = [f"{listed(habits)} on {several(days, 'day')}" for days, habits in by_days.items()]
    return [paragraph(f"Least known: {', '.join(told)}.")]


def _decided(report: CheckReport, most: int) -> Parts:
    found = decided(report)
    if not found:
        return []
    if not most:
        hidden = several(len(found), "more thing")
        return [paragraph(""), paragraph(f"Nothing to do about {hidden}: --detail")]
    more = len(found) - most
    told = [*found[:most], *([f"{more} more under --detail"] if more > 0 else [])]
    return [paragraph(""), paragraph(f"Nothing to do about: {'; '.join(told)}.")]
