"""What has to be shown first: when to refer, what a yes at the intake asks for, what is always."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from miner.core.errors import several
from miner.core.results import CautionKind, CautionText
from miner.records.client import Client
from miner.records.columns import MG_DL_PER_MMOL_L
from miner.rulebook import Cautions, Referral, RuleBook
from miner.tables.clockwork import DAY, Floats, iso_day, seconds
from miner.tables.columns import whole_words, words
from miner.tables.limits import below
from miner.tables.tag_days import names_any
from miner.tables.trace import Trace, trace_of
from miner.tables.unit_table import UnitTable


def cautions(
    client: Client, table: UnitTable, rules: RuleBook, *, days: int | None = None
) -> tuple[tuple[CautionText, ...], tuple[str, ...]]:
    """Return what has to be said beside any pattern, and what the intake did not ask.

    In this order: intake questions answered yes, readings that call for a clinician, tags of
    medicines, pregnancy or illness, what was not asked, and what is always said. A reading counts
    on the wall-clock date it was taken; readings left out (a confirmed pressure low, the first day
    of a sensor) do not count. A wake reading comes from the day table, so only a table by day has
    any. Limits are told in the client's display unit.

    Args:
        client: as read.
        table: the client's day table.
        rules: the rule books.
        days: over how many days patterns are looked for; by default all of the table.

    Returns:
        The cautions, and the names of the intake questions not asked, in plain words.
    """
    book = rules.cautions
    answers = {name: client.settings.intake.get(name, "not_asked") for name in book.intake}
    yes = [book.intake[name] for name, told in answers.items() if told == "yes"]
    referrals = _referrals(trace_of(client), table, book, client.settings.display_unit)
    names = [book.intake[name].asked for name, told in answers.items() if told == "not_asked"]
    span = several(table.frame["date"].nunique() if days is None else days, "day")
    patterns = [text.replace("{days}", span) for text in book.with_patterns]
    said = [
        *(CautionText(CautionKind.INTAKE, one.when_yes, f"yes to {one.asked}") for one in yes),
        *referrals,
        *_of_tags(client, book),
        *(CautionText(CautionKind.NOT_ASKED, text) for text in _not_asked(names, book)),
        *(CautionText(CautionKind.ALWAYS, text) for text in book.always),
        *(CautionText(CautionKind.PATTERNS, text) for text in patterns),
    ]
    return tuple(dict.fromkeys(said)), tuple(names)


def calm_said(client: Client, rules: RuleBook) -> tuple[str, ...]:
    """Return what is said where the intake asks for no numbers and perhaps no tracking at all."""
    told, book = client.settings.intake, rules.cautions.intake
    return tuple(
        item.when_yes for name, item in book.items() if item.calm and told.get(name) == "yes"
    )


def _not_asked(names: list[str], book: Cautions) -> list[str]:
    return [book.not_asked.format(names=", ".join(names))] if names else []


_SHORT = {
    "wake_at_least": "{at} or more at waking on {days}",
    "any_at_least": "{at} or more on {days}",
    "any_below": "below {at} on {days}",
    "below_on_days": "below {at} on {days}",
}


def _referrals(trace: Trace, table: UnitTable, book: Cautions, unit: str) -> list[CautionText]:
    wake = np.zeros(0)
    if "wake_glucose" in table.outcomes:
        wake = table.frame["wake_glucose"].to_numpy(np.float64)
    counts = [(rule, _days_counted(rule, trace, wake)) for rule in book.referral]
    told = [
        (rule, {"at": shown_limit(rule.at, unit), "days": several(days, "day")})
        for rule, days in counts
        if days >= rule.days
    ]
    return [
        CautionText(
            CautionKind.REFERRAL, rule.say.format(**words), _SHORT[rule.kind].format(**words)
        )
        for rule, words in told
    ]


def shown_limit(mg_dl: float, unit: str) -> str:
    """Return a limit in the unit the practice reads."""
    if unit == "mmol/L":
        return f"{mg_dl / MG_DL_PER_MMOL_L:.1f} mmol/L"
    return f"{mg_dl:g} mg/dL"


def _days_counted(rule: Referral, trace: Trace, wake: Floats) -> int:
    if rule.kind == "wake_at_least":
        return int((wake >= rule.at).sum())
    day = trace.clock // DAY
    under = below(trace.ordered, trace.tenths, rule.at)
    return int(np.unique(day[~under if rule.kind == "any_at_least" else under]).size)


def _of_tags(client: Client, book: Cautions) -> list[CautionText]:
    frame = client.used("tags")
    first: dict[str, int] = {}
    for tag, day in zip(words(frame["tag"]), seconds(frame["start_clock"]) // DAY, strict=True):
        first.setdefault(tag, int(day))
    medicine = _quoted(client, first, book.medicine_words)
    pregnancy = _quoted(client, first, book.pregnancy_words)
    illness = _quoted(client, first, book.illness_words)
    said = []
    if medicine:
        text = (
            f"A medicine tag was seen ({medicine}): it splits the period. Look at the days before "
            "and after it apart, and leave questions about medicines to the prescriber."
        )
        said.append(CautionText(CautionKind.MEDICINE, text, f"a tag of a medicine ({medicine})"))
    if pregnancy:
        asked = book.intake.get("pregnancy")
        short = f"a tag of pregnancy ({pregnancy})"
        text = f"A tag of pregnancy was seen ({pregnancy})."
        said.append(CautionText(CautionKind.INTAKE, text, short))
        said += [CautionText(CautionKind.INTAKE, asked.when_yes, short)] if asked else []
    if illness:
        around = book.illness_days_around
        text = (
            f"An illness tag was seen ({illness}): the days of it and {around} days on either "
            "side are left out."
        )
        said.append(CautionText(CautionKind.ILLNESS, text))
    return said


def _quoted(client: Client, first: Mapping[str, int], listed: tuple[str, ...]) -> str:
    pattern = whole_words(listed)
    hits = [tag for tag in first if names_any(pattern, tag, client)]
    return ", ".join(f"'{tag}' on {iso_day(first[tag])}" for tag in hits)
