"""A caseload for people: a row a client, what needs the eye, what the clients share."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import cast

from miner.core.messages import Message, Words, message, several
from miner.core.results import Evidence
from miner.core.results.caseload import Caseload, ClientRow, PooledEffect, Suggested
from miner.core.results.morning import ClientState
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts, chance
from miner.words.document import Parts, command, heading, item, paragraph, section, table
from miner.words.door import Audience, said_to
from miner.words.safe import clean
from miner.words.sentences import evidence_words, habit_phrase, outcome_label, question_of
from miner.words.teller import doubt_sentences
from miner.words.wording import few, listed

LONGEST_NAME, LONGEST_TEXT = 40, 400


def concerns(clients: Sequence[ClientRow]) -> list[tuple[list[str], str]]:
    """Return the names concerned and the text: cautions first, then what could not be used.

    Texts that differ in one count alone are one text, the count beside each name.
    """
    by_text: dict[str, list[str]] = defaultdict(list)

    def add(client: str, said: Sequence[Words]) -> None:
        name = clean(client, LONGEST_NAME)
        for one in said:
            values = one.values if isinstance(one, Message) else {}
            many = values.get("of_many")
            text = clean(str(many or one), LONGEST_TEXT)
            by_text[text].append(f"{name} ({values['own']})" if many else name)

    for row in clients:
        add(row.client, row.cautions)
    for row in clients:
        if row.error:
            by_text[clean(str(row.error), LONGEST_TEXT)].append(clean(row.client, LONGEST_NAME))
    for row in clients:
        add(row.client, row.attention)
    for row in clients:
        if row.not_asked:
            text = f"Still to ask: {', '.join(row.not_asked)}."
            by_text[clean(text, LONGEST_TEXT)].append(clean(row.client, LONGEST_NAME))
    return [(names, text) for text, names in by_text.items()]


URGENT_STATES = (
    "agreed",
    "unreadable",
    "no_records",
    "no_questions",
    "test_due",
    "due",
    "tick_missing",
    "too_few",
)
"""What of a client cannot wait, the most urgent first, behind those who are to be referred."""


def urgent_of(row: ClientRow) -> tuple[int, str] | None:
    """Return how far up a client is among those to look at first, and why; None if not there."""
    ahead = next((one for one in row.cautions if _code(one) == "tables.refer_first"), None)
    if isinstance(ahead, Message):
        first, *others = cast("Sequence[Words]", ahead.values["why"])
        which = "refer_more" if others else "refer"
        return 0, str(message(f"words.urgent_{which}", first=first, more=len(others)))
    state = row.state.state if row.state else ""
    if row.status == "error" and state not in URGENT_STATES:
        state = "unreadable"
    if state not in URGENT_STATES:
        return None
    values: dict[str, object] = {"informed": _informed(row), "why": _in_short(row.error)}
    if row.state:
        days = row.state.days
        values |= {"days": days, "first": "".join(days[:1]), "count": row.state.count}
    said = message(f"words.urgent_{state}", **values)
    return 1 + URGENT_STATES.index(state), clean(str(said), LONGEST_TEXT)


def _code(said: Words) -> str:
    return said.code if isinstance(said, Message) else ""


def _in_short(error: Words | None) -> Words:
    """Return why a folder could not be used, where it is known in a clause, as that clause."""
    short = error.values.get("short") if isinstance(error, Message) else None
    return str(short or error or "")


def _informed(row: ClientRow) -> str:
    """Return the ISO date on which a client was sent to a clinician; empty where none is noted."""
    told = (one for one in row.cautions if isinstance(one, Message))
    return next((str(one.values["day"]) for one in told if one.code == "tables.was_told"), "")


MOST_ROWS, MOST_NAMED, MOST_EFFECTS = 40, 6, 8
MOST_OFFERED = 12
_TOLD = (Evidence.CLEAR, Evidence.HINT)
STATUS = ("ranked", "too_few", "error")
EFFECT_COLUMNS = (
    "habit, glucose measure",
    ">clients",
    ">difference",
    ">two-stage",
    ">all clients",
    ">spread",
    ">adjusted p",
)


def caseload_parts(found: Caseload, rules: RuleBook, *, detail: bool = False) -> Parts:
    """Return a caseload as headings, paragraphs and tables.

    Args:
        found: what ``caseload`` found.
        rules: the rule books of the practice, for the words.
        detail: every client and every pattern that was pooled, with its numbers.
    """
    teller = CaseloadTeller.of(found, rules)
    traces: Parts = [paragraph(clean(text, 400), 2) for text in found.traces]
    end: Parts = [paragraph(""), *(paragraph(text) for text in teller.closing() if detail)]
    return [
        heading(teller.lead()),
        *section("Look at first", teller.first_lines(detail=detail)),
        paragraph(""),
        *teller.clients(detail=detail),
        *(section("Everything to look at", teller.attention()) if detail else ()),
        *teller.shared(detail=detail),
        *section("What the other clients suggest", teller.suggestions()),
        *section("Clients who differ from the others", teller.different()),
        *section("Questions to write down, from other clients' records", teller.offered()),
        *section("Where traces of a client are left", traces),
        *(end if detail else ()),
    ]


@dataclass(frozen=True, slots=True)
class CaseloadTeller:
    """The sentences of one caseload; the pages use them too."""

    found: Caseload
    rules: RuleBook
    amounts: Amounts

    @classmethod
    def of(cls, found: Caseload, rules: RuleBook) -> CaseloadTeller:
        """Return the teller of a caseload to the practitioner."""
        theirs = said_to(rules, Audience.PRACTITIONER)
        return cls(found, theirs, Amounts(found.display_unit))

    def lead(self) -> str:
        """Return how many clients there are and how many could be ranked."""
        count = dict.fromkeys(STATUS, 0)
        for row in self.found.clients:
            count[row.status] += 1
        lead = [
            (f"{count['ranked']} ranked", True),
            (f"{count['too_few']} with too few {self.found.unit}s", count["too_few"]),
            (f"{count['error']} could not be used", count["error"]),
        ]
        told = ", ".join(text for text, shown in lead if shown)
        return f"{several(len(self.found.clients), 'client')}: {told}."

    def clear_by_luck(self) -> str:
        """Return for how many such clients luck alone would show something clear."""
        ranked = sum(row.status == "ranked" for row in self.found.clients)
        if not ranked:
            return ""
        share = 100 * self.found.clear_by_chance / ranked
        return f"Luck alone would call something clear in about {share:.0f} of 100 such clients."

    def agreement(self) -> str:
        """Return how many clients are pooled."""
        found = self.found
        notes = " ".join(clean(note, 300) for note in found.notes)
        others = [
            (f"{found.declined} declined", found.declined),
            (f"{found.not_asked} were not asked yet", found.not_asked),
        ]
        told = [f"{found.agreed} agreed to be pooled", *(text for text, shown in others if shown)]
        return f"{listed(told)}. {notes}".strip()

    def clients(self, *, detail: bool) -> Parts:
        """Return a row for each client, those that could not be used first."""
        rows = sorted(self.found.clients, key=lambda row: row.status != "error")
        shown = rows if detail else rows[:MOST_ROWS]
        columns = ("client", f">{self.found.unit}s", ">clear", ">hints", "pooled")
        parts = table(columns, [self.cells(row) for row in shown], gap=3)
        if len(rows) > len(shown):
            more = len(rows) - len(shown)
            parts.append(paragraph(str(message("words.more_clients", n=more))))
        return [*parts, *(paragraph(text) for text in (self.clear_by_luck(),) if text)]

    def cells(self, row: ClientRow) -> Sequence[str]:
        """Return the cells of one client."""
        pooled = {True: "yes", False: "no", None: "not asked"}[row.pooled]
        used, ranked = row.status != "error", row.status == "ranked"
        return (
            clean(row.client, 40),
            str(row.usable_units) if used else "-",
            str(row.clear) if ranked else "-",
            str(row.hints) if ranked else "-",
            pooled,
        )

    def urgent(self) -> list[tuple[str, str]]:
        """Return a line for each client who cannot wait: the name and why, referrals first."""
        found = [
            (at[0], number, clean(row.client, LONGEST_NAME), at[1])
            for number, row in enumerate(self.found.clients)
            if (at := urgent_of(row)) is not None
        ]
        return [(name, why) for _, _, name, why in sorted(found)]

    def first_lines(self, *, detail: bool) -> Parts:
        """Return the lines of those who cannot wait, without ``detail`` not more than fit."""
        lines = self.urgent()
        shown = lines if detail else lines[:MOST_ROWS]
        width = max((len(name) for name, _ in shown), default=0)
        parts: Parts = [item(name, why, 2, width=width) for name, why in shown]
        if len(lines) > len(shown):
            more = len(lines) - len(shown)
            parts.append(paragraph(str(message("words.more_clients", n=more)), 2))
        return parts

    def attention(self) -> Parts:
        """Return all that is to look at, the same words once for all clients they concern."""
        most = len(self.found.clients)
        return [paragraph(f"{few(names, most)}: {text}", 2) for names, text in self.eye()]

    def eye(self) -> list[tuple[list[str], str]]:
        """Return who is concerned, and by what, cautions first."""
        rows = self.found.clients
        everyone, all_of_them = [clean(row.client, 40) for row in rows], f"all {len(rows)} clients"
        return [
            ([all_of_them] if len(rows) > MOST_NAMED and names == everyone else names, text)
            for names, text in concerns(rows)
        ]

    def luck(self) -> str:
        """Return how many hints chance alone would give; empty where there is none."""
        hints = sum(item.evidence is Evidence.HINT for item in self.found.pooled)
        if not hints:
            return ""
        chance_alone = self.rules.guardrails.hint_level * self.found.questions_asked
        return (
            f"{several(hints, 'hint was', 'hints were')} found, and luck alone would give up to "
            f"about {max(1, round(chance_alone))}."
        )

    def shared(self, *, detail: bool) -> Parts:
        """Return the pooled effects: what is clear, what is a hint, and the numbers."""
        effects = self.found.pooled
        parts: Parts = []
        for level in (Evidence.CLEAR, Evidence.HINT):
            chosen = [item for item in effects if item.evidence is level]
            title = (
                f"{evidence_words(level, self.rules)}, across the {self.found.agreed} who agreed"
            )
            said: Parts = [paragraph(self.told(item), 2) for item in chosen]
            if chosen and level is Evidence.HINT:
                said.append(paragraph(self.luck(), 2))
            parts += section(title, said)
        told = [item for item in effects if item.evidence in _TOLD]
        if not told:
            none = self.nothing() if self.found.questions_asked else self.agreement()
            parts += [paragraph(""), paragraph(none)]
        shown = effects if detail else told[:MOST_EFFECTS]
        rows = [self.numbers(item) for item in shown]
        return [*parts, *section("Pooled numbers", table(EFFECT_COLUMNS, rows))]

    def nothing(self) -> str:
        """Return that no habit stood out across the clients."""
        found = self.found
        values = {"agreed": found.agreed, "checked": found.questions_asked}
        return str(message("words.nothing_across_clients", **values))

    def told(self, item: PooledEffect) -> str:
        """Return the sentence of an effect and what limits it."""
        said = [str(item.sentence), *doubt_sentences(item, self.rules, self.found.unit)]
        if item.apart:
            said.append("The two ways of pooling differ by more than half a standard error.")
        return " ".join(said)

    def numbers(self, item: PooledEffect) -> Sequence[str]:
        """Return the cells of one effect, with both ways of pooling."""
        show, unit = self.amounts, self.found.unit
        label = outcome_label(item.outcome, self.rules, unit)
        return (
            f"{habit_phrase(item, self.rules, unit)}, {label}",
            str(item.clients),
            f"{show.difference(item.difference, item.unit)} {show.unit(item.unit)}",
            show.difference(item.two_stage.difference, item.unit),
            show.difference(item.reml.difference, item.unit),
            show.size(item.spread, item.unit),
            chance(item.p_adjusted),
        )

    def waiting(self, item: PooledEffect) -> str:
        """Return the clients whose own month cannot tell, the first of many."""
        names = [clean(row.client, 40) for row in item.by_client if row.suggestion]
        return few(names, MOST_NAMED)

    def apart(self, item: PooledEffect) -> str:
        """Return the clients whose own difference is far from that of all, with it."""
        names = [
            f"{clean(row.client, 40)} ({self.amounts.difference(row.shrunken, item.unit)})"
            for row in item.by_client
            if row.differs
        ]
        return few(names, MOST_NAMED)

    def suggestions(self) -> Parts:
        """Return, for each clear effect, the clients whose own month cannot tell."""
        told = [(item.sentence, self.waiting(item)) for item in self.found.pooled]
        return [
            paragraph(f"{said} The records of {names} do not show it yet.", 2)
            for said, names in told
            if names
        ]

    def different(self) -> Parts:
        """Return the clients whose own difference is far from that of all."""
        shown = [item for item in self.found.pooled if item.evidence in _TOLD]
        told = [(item.sentence, self.apart(item)) for item in shown]
        return [
            paragraph(f"{said} It is different for {names}.", 2) for said, names in told if names
        ]

    def questions(self) -> list[tuple[list[str], Suggested]]:
        """Return who is offered the same questions, and these."""
        groups: dict[tuple[str, ...], tuple[list[str], Suggested]] = {}
        for group in self.found.suggested:
            asked = tuple(question_of(one, self.rules) for one in group.questions)
            if asked:
                groups.setdefault(asked, ([], group))[0].append(clean(group.client, 40))
        return list(groups.values())

    def question_cells(self, group: tuple[list[str], Suggested]) -> tuple[list[str], list[str]]:
        """Return the names of a group, the first of many, and its questions in a few words."""
        names, item = group
        asked = [question_of(one, self.rules) for one in item.questions]
        return first(names, MOST_OFFERED), asked

    def offered(self) -> Parts:
        """Return the questions offered to each client, none from the client's own records."""
        parts: Parts = []
        for group in self.questions():
            names, asked = self.question_cells(group)
            parts.append(paragraph(f"{', '.join(names)}:", 2))
            parts += [paragraph(text, 4) for text in asked]
        return [*parts, paragraph(str(message("words.offered")), 2)] if parts else []

    def closing(self) -> tuple[str, str]:
        """Return how many patterns were pooled, and what the words mean."""
        found = self.found
        pooled = several(found.questions_asked, "pattern was", "patterns were")
        level = f"{100 * found.claim_level:g}"
        return (
            f"{self.agreement()} {pooled} pooled, and {found.too_few} more had too few clients.",
            "With nothing true, the lists by day and by meal call something clear in about "
            f"{level} of 100 practices at most. These are patterns within clients, and they do not "
            "show why. The results are saved in the folder of the practice and can be deleted at "
            "any time.",
        )


def first(names: Sequence[str], most: int) -> list[str]:
    """Return the first names and, where there are more, how many."""
    more = len(names) - most
    return [*names[:most], *([f"and {more} more"] if more > 0 else [])]


def states_parts(states: Sequence[ClientState], on: str, most: int | None = None) -> Parts:
    """Return the state of each client, and below it the one next step as a command.

    Args:
        states: as the steps tell them.
        on: ISO date of the day on which it is looked at.
        most: how many are shown; by default all.
    """
    parts: Parts = []
    shown = states if most is None else states[:most]
    for one in shown:
        name = clean(PurePath(one.folder).name, LONGEST_NAME)
        parts += [paragraph(f"{name}: {one.said}", 2), command(str(one.next(on)), 4)]
    if len(states) > len(shown):
        more = len(states) - len(shown)
        parts.append(paragraph(str(message("words.more_clients", n=more)), 2))
    return section("The next step for each client", parts)
