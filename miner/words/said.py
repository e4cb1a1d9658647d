"""The texts of messages, findings and errors, by their code.

``texts/ROOM.toml``, and any ``texts/ROOM-part.toml``, holds a table a code, with a text for each
part of it: ``text`` of a message, and its ``kind`` where alike ones are counted together;
``found``, ``expected`` and ``do`` of an error or a finding. A part may have another text for a
page (``do_page``) and for a paper (``do_paper``). In braces stand names of values:

- ``{name}`` as it is, a message in its own words; a list as ``a, b and c``, with ``:commas``
  as ``a, b, c``, with ``:sentences`` as ``a. b. c``. ``{names:first5}`` and ``{names:last5}`` show
  so many of a list and say how many more there are; ``{names:#night}`` counts it.
- ``{days:dates3}`` the first ISO dates of a list as ``10, 11 Jan, 3 Feb and 8 more``.
- ``{count:night}`` counted: ``1 night``, ``2 nights``; ``{count:entry|entries}``.
- ``{count:?is|are}`` the word that goes with the count, without it.
- ``{day:weekday}`` an ISO date as ``Monday 12 January``; ``{day:dated}`` as ``12 Jan 2026``.
- ``{name:quoted}`` in quotation marks, a list of them each; ``{names:or}`` as ``a or b``.
- ``{names:semicolons}`` a list as ``a; b; c``, ``{names:ands}`` as ``a and b and c``;
  ``{file:shell}`` as one word of a command line.
- ``{rule:filled}`` a text of a rule book, its own braces filled in.
- ``{of:what}`` a part of a finding that is told as a message.
- ``{value:level in mg/dL}`` an amount with its unit, of glucose in the unit of the practice; so
  ``size``, ``bare`` without its unit, ``step`` with its sign, ``limit`` with no digit that says
  nothing. The unit may be a value too: ``{worth:size in {unit}}``.
- any format of Python, such as ``{share:.0f}``.

A part ``do_close`` takes the place of ``do`` where there is a value ``close``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from miner.words.door import Audience, said_to

if TYPE_CHECKING:
    from miner.rulebook import RuleBook

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from shlex import quote
from string import Formatter
from typing import Any

from miner.core.facts import sentence_of
from miner.core.messages import Message
from miner.core.results import Finding
from miner.words.amounts import amounts_now
from miner.words.door import Door, door_now, folder_now
from miner.words.safe import clean
from miner.words.wording import dated, day_words, few, first_days, listed

FINDINGS = "findings"
_PARTS = ("what", "found", "short", "expected", "do")
_JOINED = {"sentences": ". ", "commas": ", ", "semicolons": "; ", "or": " or ", "ands": " and "}
AMOUNTS = ("level", "size", "bare", "bare level", "step", "limit")
CLOSE = "Did you mean '{close}'?"


@dataclass(frozen=True)
class Label:
    """A name in the words of the rule books: its kind, the rule books, what it is a name of."""

    kind: str
    rules: Any
    values: Mapping[str, Any]


def texts(
    code: str, values: Mapping[str, object], door: Door | None = None, rules: Any = None
) -> dict[str, str]:
    """Return the texts of a code by part, filled in.

    Args:
        code: ``room.kind``.
        values: what its braces name.
        door: whose words they are; by default those of the door that is open now.
        rules: the rule books, of a code whose words stand in them.
    """
    door = door_now() if door is None else door
    room, _, kind = code.partition(".")
    if room in ("labels", "wording", "cautions"):
        own = rules and rules_at_door(rules, door)
        return {"text": _by_rules(own, room, kind, values, door)}
    parts = dict(_book(room)[kind])
    if values.get("close"):
        parts["do"] = parts.get("do_close", CLOSE)
    special = ("_page", "_paper", "_client", "_close")
    plain = {name: text for name, text in parts.items() if not name.endswith(special)}
    if door:
        ending = f"_{door}"
        plain |= {
            name.removesuffix(ending): text
            for name, text in parts.items()
            if name.endswith(ending) and not (name == f"do{ending}" and values.get("close"))
        }
    values = {"folder": folder_now(), **values}
    filler = _Filler(door, values)
    said = {name: filler.vformat(text, (), values) for name, text in plain.items()}
    return _with_examples(said, values, door) if room == FINDINGS else said


def _with_examples(said: dict[str, str], values: Mapping[str, Any], door: Door) -> dict[str, str]:
    """Return the texts of a finding: what was found with examples, and in short without."""
    found, examples, more = said.pop("found"), values.get("examples", ()), values.get("more", 0)
    each = [f"'{text_of(x, door)}'" if isinstance(x, Message) else x for x in examples]
    shown = ", ".join(each) + (f" and {more} more" if more else "")
    what = f"{found} ({shown})" if examples else found
    if "instead" in values:
        said["do"] = text_of(values["instead"], door)
    return {"what": what, "short": said.pop("short", found if examples else ""), **said}


def tells_count(finding: Finding) -> bool:
    """Say whether the words of what was found name how often it was found."""
    message = finding.as_message()
    values, text = message.values, _book(FINDINGS)[message.code.removeprefix("findings.")]["found"]
    told = [(values.get(name or ""), spec) for _, name, spec, _ in Formatter().parse(text)]
    numbers = [len(v) if isinstance(v, list | tuple) and "#" in str(s) else v for v, s in told]
    held = [each for v, _ in told if isinstance(v, list | tuple) for each in v]
    numbers += [each.values.get("n") for each in held if isinstance(each, Message)]
    return finding.count in numbers


def text_of(said: Message | str, door: Door | None = None) -> str:
    """Return a message in words, a finding as what was found; a text as it is."""
    if isinstance(said, Message):
        told = texts(said.code, said.values, door, said.rules)
        return told["text"] if "text" in told else told["what"]
    return said


def reason_kind(why: Message | str) -> str:
    """Return a reason without what differs from meal to meal."""
    if isinstance(why, str):
        return why
    said = texts(why.code, why.values)
    return said.get("kind", said["text"])


def _by_rules(rules: Any, room: str, kind: str, values: Mapping[str, Any], door: Door) -> str:
    """Return a sentence of the rule books' wording, or a name in the rule books' words."""
    from miner.words.wording import say

    if room == "labels":
        return str(sentence_of(Label(kind, rules, values), "label"))
    table, _, key = kind.partition(".")
    said = {
        name: text_of(value, door) if isinstance(value, Message) else _harmless(value)
        for name, value in values.items()
    }
    if room == "cautions":
        return str(getattr(rules.cautions, kind)).format(**said)
    return say(rules, table, key, **said)


def _harmless(value: Any) -> Any:
    return clean(value) if isinstance(value, str) else value


@cache
def _book(room: str) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for path in (resources.files("miner.words") / "texts").iterdir():
        if path.name == f"{room}.toml" or path.name.startswith(f"{room}-"):
            found |= tomllib.loads(path.read_text(encoding="utf-8"))
    return found


class _Filler(Formatter):
    """Fills in the braces of one text."""

    def __init__(self, door: Door, values: Mapping[str, Any]) -> None:
        self.door, self.values = door, values

    def format_field(self, value: Any, spec: str) -> str:
        if isinstance(value, Message) and spec in _PARTS:
            return texts(value.code, value.values, self.door)[spec]
        if isinstance(value, Message):
            value = text_of(value, self.door)
        if isinstance(value, list | tuple):
            if spec.startswith("#"):
                return f"{len(value)} {_one_or_many(len(value), spec[1:])}"
            each = [text_of(one, self.door) for one in value]
            if spec in _JOINED:
                return _JOINED[spec].join(each)
            if spec == "quoted":
                return ", ".join(f"'{one}'" for one in each)
            if spec.startswith("dates"):
                return first_days(each, int(spec.removeprefix("dates")))
            if spec.startswith(("first", "last")):
                most = int(spec.removeprefix("first").removeprefix("last"))
                return few(each, most, last=spec.startswith("last"))
            return listed(each)
        if spec == "quoted":
            return f"'{value}'"
        kind, inside, unit = spec.partition(" in ")
        if inside and kind in AMOUNTS:
            return amounts_now().told(kind, value, unit)
        if spec == "filled":
            return self.vformat(value, (), self.values)
        if spec == "dated":
            return dated(str(value))
        if spec == "weekday":
            return day_words(str(value))
        if spec == "shell":
            return quote(str(value))
        if spec.startswith("?"):
            return _one_or_many(value, spec[1:])
        if "%" in spec:
            return str(super().format_field(value, spec))
        if (spec.isalpha() and len(spec) > 1) or "|" in spec or " " in spec:
            return f"{value} {_one_or_many(value, spec)}"
        return str(super().format_field(value, spec))


def _one_or_many(count: Any, spec: str) -> str:
    one, _, many = spec.partition("|")
    return one if count == 1 else many or f"{one}s"


def rules_at_door(rules: RuleBook, door: Door | None = None) -> RuleBook:
    """Return the rule books in the words of a door, with the same hash.

    A text that a practice wrote itself stays as the practice wrote it.

    Args:
        rules: the rule books.
        door: by default the one that codes are worded for now.
    """
    from miner import rulebook

    door = door_now() if door is None else door
    if door == "client":
        return rules
    rules = said_to(rules, Audience.PRACTITIONER)
    if not door:
        return rules
    own, shipped = book("doors")[door], rulebook.load()
    wording = {
        table: rules.wording[table]
        | _unchanged(texts, rules.wording[table], shipped.wording[table])
        for table, texts in own["wording"].items()
        if table in rules.wording
    }
    cautions = _unchanged(own.get("cautions", {}), vars(rules.cautions), vars(shipped.cautions))
    return rules.model_copy(
        update={
            "wording": rules.wording | wording,
            "cautions": rules.cautions.model_copy(update=cautions),
        }
    )


def _unchanged(
    texts: Mapping[str, str], used: Mapping[str, Any], shipped: Mapping[str, Any]
) -> dict[str, str]:
    """Return the texts that take the place of one that ships."""
    return {key: text for key, text in texts.items() if used.get(key) == shipped[key]}


@cache
def book(name: str) -> dict[str, Any]:
    """Return the texts of a file beside these modules: tables of them by name."""
    held = resources.files("miner.words") / f"{name}.toml"
    return tomllib.loads(held.read_text(encoding="utf-8"))
