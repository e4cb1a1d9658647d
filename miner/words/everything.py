"""What is in the archive of everything, for whoever opens it."""

from __future__ import annotations

from collections.abc import Sequence

from miner.core.errors import several
from miner.core.results.briefing import PageCopy
from miner.core.results.follow import History
from miner.rulebook import RuleBook
from miner.words.document import Part, Parts, paragraph, section
from miner.words.sentences import client_always, say


def contents_parts(
    records: Sequence[str], pages: Sequence[PageCopy], found: History, rules: RuleBook, unit: str
) -> Parts:
    """Return the text that says what each file of the archive is.

    Args:
        records: names of the files of records.
        pages: the pages shared.
        found: the history, for its counts.
        rules: the rule books, for the words.
        unit: the practice's own unit of glucose.
    """
    parts: Parts = [paragraph(say(rules, "everything", "opening"))]
    body = [_line(name, _record_words(name, rules, unit)) for name in records]
    parts += section("Records", body)
    counts = say(rules, "history", "searches", searches=found.searches, fixed=found.fixed)
    told = say(
        rules,
        "everything",
        "history",
        entries=several(len(found.entries), "entry", "entries"),
        counts=counts,
    )
    parts += section("History", [_line("history.txt", told)])
    if pages:
        shown = [_line(page.name, _page_words(page, rules)) for page in pages]
    else:
        shown = [paragraph(say(rules, "everything", "no_pages"), 2)]
    parts += section("Pages that were shared", shown)
    closing = [*client_always(rules), say(rules, "everything", "closing")]
    return [*parts, paragraph(""), *(paragraph(line) for line in closing)]


def _line(name: str, words: str) -> Part:
    return paragraph(f"{name}: {words}", 2)


def _record_words(name: str, rules: RuleBook, unit: str) -> str:
    stem = name.rpartition("/")[2].partition(".")[0]
    return say(rules, "everything", stem.partition("-")[0], unit=unit)


def _page_words(page: PageCopy, rules: RuleBook) -> str:
    ids = ", ".join(page.ids) or "nothing of the search"
    key = "page" if page.as_it_was else "page_again"
    return say(rules, "everything", key, kind=page.kind, on=page.on, ids=ids)
