"""The story of a client's questions in plain words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from miner.core.messages import several
from miner.core.results.briefing import PageCopy
from miner.core.results.follow import History
from miner.rulebook import RuleBook
from miner.words.document import Part, Parts, heading, paragraph, section
from miner.words.noting import notes_parts
from miner.words.safe import clean
from miner.words.sentences import ended_words, factor_phrase, outcome_label, way_words
from miner.words.wording import client_always, say

GUESSES = {"up": "guessed up", "down": "guessed down"}


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
        put_aside: of a plan, earlier ones of the same idea that were given up unread.
    """
    if event == "fixed":
        names = _names((str(told.get("factor", "")),), str(told.get("outcome", "")), rules)
        guess = GUESSES.get(str(told.get("guess")), "no guess")
        return say(rules, "history", "fixed", guess=guess, **names)
    if event == "ranked":
        return _ranked(told, rules)
    if event == "looked":
        unit = str(told.get("unit", "day"))
        if told.get("what") in ("day", "days"):
            key = "shown_day" if told["what"] == "day" else "shown_days"
            return say(
                rules, "history", key, units=f"{unit}s", last=clean(told.get("last_day"), 10)
            )
        names = _names(_listed(told, "factors"), str(told.get("outcome", "")), rules, unit)
        return say(rules, "history", "looked", **names)
    names = _names(
        _listed(kept, "factors"),
        str(kept.get("outcome", "")),
        rules,
        str(kept.get("unit_of", "day")),
    )
    if event == "kept":
        key = "kept_again" if ended else "kept" if told.get("as") == "watch" else "kept_open"
        return say(
            rules,
            "history",
            key,
            way=way_words(told.get("as"), rules),
            read_on=clean(told.get("read_on"), 10),
            ended=ended_words(ended, rules),
            **names,
        )
    if event == "planned":
        return say(
            rules,
            "history",
            "planned_again" if put_aside else "planned",
            count=put_aside,
            pairs=clean(told.get("pairs"), 10),
            first=_first(told),
            last=clean(told.get("read_on"), 10),
        )
    if event == "verdict":
        return say(rules, "history", "verdict", words=ended_words(ended, rules), **names)
    if event == "dropped":
        return say(rules, "history", "never_begun" if told.get("plan") else "dropped", **names)
    if event == "shared":
        ids = ", ".join(clean(id_, 20) for id_ in _listed(told, "ids")) or "nothing"
        return say(rules, "history", "shared", page=clean(told.get("page"), 40), ids=ids)
    if event == "recovered":
        return _recovered(told, rules)
    return say(rules, "history", "other", event=clean(event, 40))


def history_parts(found: History, rules: RuleBook) -> Parts:
    """Return the whole story in order, with how many searches there have been."""
    count = say(rules, "history", "searches", searches=found.searches, fixed=found.fixed)
    parts: Parts = [heading(f"{clean(found.client, 60)}: {count}")]
    if found.searches > 1:
        parts.append(paragraph(say(rules, "history", "year")))
    parts += [paragraph(note) for note in found.notes]
    if not found.entries:
        parts.append(paragraph(say(rules, "history", "nothing")))
    parts += [paragraph(f"{item.on}  {item.text}", 2) for item in found.entries]
    return [*parts, *section("Your notes", notes_parts(found.written))]


def _recovered(told: Mapping[str, Any], rules: RuleBook) -> str:
    names = (("recovered", "torn"), ("missing", "missing"), ("unnoted", "unnoted"))
    keys = [key for key, name in names if name in told]
    return " ".join(say(rules, "history", key) for key in keys or ["recovered"])


def _first(told: Mapping[str, Any]) -> str:
    try:
        return clean(told["periods"][0]["from"], 10)
    except (KeyError, TypeError, IndexError):
        return "a day that cannot be read"


def _listed(told: Mapping[str, Any], name: str) -> tuple[Any, ...]:
    found = told.get(name)
    return tuple(found) if isinstance(found, list) else ()


def _ranked(told: Mapping[str, Any], rules: RuleBook) -> str:
    items = [item for item in _listed(told, "shown") if isinstance(item, Mapping)]
    shown = [str(item.get("evidence")) for item in items]
    return say(
        rules,
        "history",
        "ranked",
        unit=told.get("unit", "day"),
        last=told.get("last_day"),
        clear=shown.count("clear"),
        hints=several(shown.count("hint"), "hint"),
    )


def _names(
    factors: tuple[Any, ...], outcome: str, rules: RuleBook, unit: str = "day"
) -> dict[str, str]:
    factor = " and ".join(factor_phrase(str(name), rules, unit) for name in factors)
    return {"factor": factor[:1].upper() + factor[1:], "label": outcome_label(outcome, rules, unit)}


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
