"""What it comes to that words are merged or parted, and which look alike."""

from __future__ import annotations

from pathlib import Path
from shlex import quote

from miner.core.errors import several
from miner.core.results import LookAlike, Merge, Merges, Reworded, WordCount
from miner.words.document import Part, Parts, Side, command, heading, paragraph, section, table
from miner.words.safe import clean

LEADS = {
    "merged": "Merged into the {kind} '{into}', in practice.toml.",
    "parted": "Parted from the {kind} '{into}', in practice.toml.",
    "preview": "To be merged into the {kind} '{into}'. Nothing is written.",
}
STATES = {
    "before": "Nobody had looked at later days, so it counts as before.",
    "after": "Later days had been looked at, so it is a hint at most.",
    "goes_on": "It goes on with the words it was kept with.",
}
SHOWN = 20


def merge_parts(found: Merge, practice: Path) -> Parts:
    """Return what a merge or a parting comes to, and how to take it back.

    Args:
        found: the merge.
        practice: the practice's folder, as it was typed.
    """
    lead = LEADS[found.action].format(kind=found.kind, into=clean(found.into, 60))
    parts: Parts = [heading(lead), _counts(found)]
    parts += [paragraph(_touched(item)) for item in found.reworded]
    if found.apart:
        names = ", ".join(clean(name, 40) for name in found.apart)
        parts.append(paragraph(f"In client.toml it is said otherwise, and that holds: {names}."))
    parts += _unreadable(found.unreadable)
    others = " ".join(quote(item.word) for item in found.words[1:])
    words, kind = f"miner merge {quote(str(practice))} {others}", f" --kind {found.kind}"
    if found.action == "merged":
        parts += [paragraph("To take it back:"), command(f"{words} --part{kind}")]
    elif found.action == "preview":
        merged = f"{words} --into {quote(found.into)}{kind}"
        parts += [paragraph("To merge them:"), command(merged)]
    return parts


def merges_parts(found: Merges, practice: Path) -> Parts:
    """Return what is merged in a practice and which words look alike, with the commands."""
    counts = f"Words merged: {len(found.merged)}. Pairs that look alike: {len(found.alike)}."
    parts: Parts = [heading(f"{clean(found.practice, 60)}. {counts}")]
    lines: Parts = [
        paragraph(f"{kind} '{clean(own, 60)}' as '{clean(kept, 60)}'", 2)
        for kind, own, kept in found.merged
    ]
    parts += section("Merged", lines)
    for kind, title in (("tag", "Tags that look alike"), ("food", "Foods that look alike")):
        lines = []
        for pair in [pair for pair in found.alike if pair.kind == kind][:SHOWN]:
            lines += _pair(pair, practice)
        parts += section(title, lines)
    return [*parts, *_unreadable(found.unreadable)]


def _pair(pair: LookAlike, practice: Path) -> Parts:
    rarer, commoner = pair.rarer, pair.commoner
    told = f"{_counted(rarer)}, {_counted(commoner)}"
    words = [(rarer.word, commoner.word)]
    if pair.as_common:
        told += ". Both are as common: which is right is for you to say"
        words.append((commoner.word, rarer.word))
    lead = f"miner merge {quote(str(practice))}"
    lines = (
        command(f"{lead} {quote(own)} --into {quote(kept)} --kind {pair.kind}", 4)
        for own, kept in words
    )
    return [paragraph(f"{told}.", 2), *lines]


def _counted(count: WordCount) -> str:
    days, clients = several(count.days, "day"), several(count.clients, "client")
    return f"'{clean(count.word, 60)}' ({days}, {clients})"


def _counts(found: Merge) -> Part:
    noted = "times" if found.kind == "tag" else "meals"
    columns: list[tuple[str, Side]] = [
        ("word", "left"),
        (noted, "right"),
        ("days", "right"),
        ("clients", "right"),
    ]
    rows = [_row(count, clean(count.word, 60)) for count in found.words]
    return table(columns, [*rows, _row(found.together, "together")], gap=2)


def _row(count: WordCount, name: str) -> tuple[str, ...]:
    return name, str(count.times), str(count.days), str(count.clients)


def _touched(item: Reworded) -> str:
    kind, _, words = item.factor.partition(":")
    what = "the question about" if item.what == "question" else "what is kept about"
    named = f"the {kind} '{clean(words, 60)}'"
    return f"{clean(item.client, 40)}: {what} {named} is touched. {STATES[item.state]}"


def _unreadable(found: tuple[tuple[str, str], ...]) -> Parts:
    return [paragraph(f"Not read: {clean(name, 40)}. {clean(why, 300)}") for name, why in found]
