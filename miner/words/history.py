"""The story of a client's questions in plain words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from miner.core.messages import several
from miner.core.results.history import History
from miner.rulebook import RuleBook
from miner.words.document import Part, Parts, heading, paragraph, section
from miner.words.document import item as row
from miner.words.noting import notes_parts
from miner.words.safe import clean
from miner.words.sentences import ended_words, factor_phrase, outcome_label, way_words
from miner.words.wording import capital, client_always, dated, say

if TYPE_CHECKING:
    from miner.core.results.briefing import PageCopy

GUESSES = {
    "up": "with the guess that it is higher",
    "down": "with the guess that it is lower",
}
WIDEST = len("30 Nov 2026")


def entry_text(
    rules: RuleBook, *, ended: str | None, refused: bool, days: int, **entry: Any
) -> str:
    """Return one entry of the ledger in sentences, and that it came too late to count.

    Args:
        rules: the rule books, for the words.
        ended: as of ``entry_words``.
        refused: it came too late.
        days: how many days were looked at one after the other.
        entry: as of ``entry_words``.
    """
    said = [entry_words(ended=ended, rules=rules, **entry)]
    if days > 1:
        said.insert(0, say(rules, "history", "shown_one_by_one", count=days))
    return " ".join([*said, *([say(rules, "history", "refused")] if refused else [])])


def entry_words(
    event: str,
    told: Mapping[str, Any],
    kept: Mapping[str, Any],
    ended: str | None,
    rules: RuleBook,
    put_aside: int = 0,
) -> str:
    """Return one entry of the ledger as a sentence.

    Args:
        event: its kind.
        told: what it holds.
        kept: what the entry it belongs to keeps, or nothing.
        ended: how the test ended; of one that is kept, how an earlier test of it ended, or None.
        rules: the rule books, for the words.
        put_aside: of a plan, earlier ones of the same pattern that were given up unread.
    """
    if event == "recovered":
        return _recovered(told, rules)
    match event:
        case "looked":
            shown = {"day": "shown_day", "days": "shown_days"}
            key = shown.get(str(told.get("what")), "looked")
        case "kept":
            key = "kept_again" if ended else "kept" if told.get("as") == "watch" else "kept_open"
        case "planned":
            key = "planned_again" if put_aside else "planned"
        case "dropped":
            key = "never_begun" if told.get("plan") else "dropped"
        case "fixed" | "ranked" | "verdict" | "shared" | "left" | "taken_up":
            key = event
        case _:
            key = "other"
    about = told if event in ("fixed", "looked") else kept
    values = _values(told) | _names(event, about, rules)
    if event == "planned":
        values |= {"count": put_aside, "last": values["read_on"]}
    if event in ("kept", "verdict"):
        words = ended_words(ended, rules)
        values |= {"ended": words, "words": words, "way": way_words(told.get("as"), rules)}
    return say(rules, "history", key, event=clean(event, 40), **values)


def _values(told: Mapping[str, Any]) -> dict[str, object]:
    """Return what sentences about an entry may name of it."""
    items = [item for item in _listed(told, "shown") if isinstance(item, Mapping)]
    levels = [str(item.get("evidence")) for item in items]
    return {
        "unit": told.get("unit", "day"),
        "units": f"{told.get('unit', 'day')}s",
        "guess": GUESSES.get(str(told.get("guess")), "without a guess"),
        "clear": several(levels.count("clear"), "clear pattern"),
        "hints": several(levels.count("hint"), "hint"),
        "ids": ", ".join(clean(id_, 20) for id_ in _listed(told, "ids")) or "none",
        "page": clean(told.get("page"), 40),
        "pairs": clean(told.get("pairs"), 10),
        "first": _first(told),
        "read_on": dated(clean(told.get("read_on"), 10)),
        "last": dated(clean(told.get("last_day"), 10)),
    }


def _names(event: str, about: Mapping[str, Any], rules: RuleBook) -> dict[str, str]:
    """Return the habit and the outcome that an entry is about, or the entry it belongs to."""
    unit = str(about.get("unit" if event == "looked" else "unit_of", "day"))
    factors = (about.get("factor", ""),) if event == "fixed" else _listed(about, "factors")
    factor = " and ".join(factor_phrase(str(name), rules, unit) for name in factors)
    label = outcome_label(str(about.get("outcome", "")), rules, unit)
    return {"factor": capital(factor), "habit": factor, "label": label}


def history_parts(found: History, rules: RuleBook) -> Parts:
    """Return the whole story in order, with how many searches there have been."""
    parts: Parts = [heading(f"{clean(found.client, 60)}: {_searched(found, rules)}")]
    if found.searches > 1:
        parts.append(paragraph(say(rules, "history", "year")))
    parts += [paragraph(note) for note in found.notes]
    if not found.entries:
        parts.append(paragraph(say(rules, "history", "nothing")))
    parts += [row(dated(one.on), str(one.text), 2, width=WIDEST) for one in found.entries]
    return [*parts, *section("Your notes", notes_parts(found.written))]


def _searched(found: History, rules: RuleBook) -> str:
    """Return how often the records were searched, and how many questions there are."""
    searches = several(found.searches, "search", "searches")
    fixed = several(found.fixed, "question")
    return say(rules, "history", "searches", searches=searches, fixed=fixed)


def _recovered(told: Mapping[str, Any], rules: RuleBook) -> str:
    names = (("recovered", "torn"), ("missing", "missing"), ("unnoted", "unnoted"))
    keys = [key for key, name in names if name in told]
    return " ".join(say(rules, "history", key) for key in keys or ["recovered"])


def _first(told: Mapping[str, Any]) -> str:
    try:
        return dated(clean(told["periods"][0]["from"], 10))
    except (KeyError, TypeError, IndexError):
        return "a day that cannot be read"


def _listed(told: Mapping[str, Any], name: str) -> tuple[Any, ...]:
    found = told.get(name)
    return tuple(found) if isinstance(found, list) else ()


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
    told = say(
        rules,
        "everything",
        "history",
        entries=several(len(found.entries), "entry", "entries"),
        counts=_searched(found, rules),
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
    ids = ", ".join(page.ids) or "no pattern"
    key = "page" if page.as_it_was else "page_again"
    return say(rules, "everything", key, kind=page.kind, on=dated(page.on), ids=ids)
