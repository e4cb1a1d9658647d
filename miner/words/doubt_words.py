"""What a doubt says, in one sentence, and what would settle it."""

from __future__ import annotations

from miner.core.results import Doubt, DoubtCode, Hypothesis
from miner.core.results.caseload import PooledEffect
from miner.rulebook import RuleBook
from miner.words.labels import Hidden, named, nothing_hidden
from miner.words.sentences import say
from miner.words.wording import capital, day_name, listed

WEEKDAYS = {
    "mon": "Mondays", "tue": "Tuesdays", "wed": "Wednesdays", "thu": "Thursdays",
    "fri": "Fridays", "sat": "Saturdays", "sun": "Sundays",
}  # fmt: skip


def doubt_sentences(
    item: Hypothesis, rules: RuleBook, unit: str = "day", hidden: Hidden = nothing_hidden
) -> list[str]:
    """Return why a hypothesis that passes is a hint all the same, a text a reason.

    Args:
        item: what was found.
        rules: the rule books.
        unit: "day" or "meal".
        hidden: says whether a habit is not to be named.
    """
    found = []
    for code in dict.fromkeys(doubt.code for doubt in item.doubts):
        own = [doubt for doubt in item.doubts if doubt.code is code]
        most = rules.guardrails.shrink_when_one_unit_left_out
        found.append(
            say(
                rules, "doubt", str(code), units=f"{unit}s", some=capital(f"{unit}s"),
                other=_other(own, rules, unit, hidden), share=f"{1 - most:.0%}",
            )
        )  # fmt: skip
    return found


def pooled_doubt_sentences(item: PooledEffect, rules: RuleBook, unit: str) -> list[str]:
    """Return why a pooled difference that passes is a hint all the same, a text a reason.

    Args:
        item: what was found across clients.
        rules: the rule books.
        unit: "day" or "meal".
    """
    codes = dict.fromkeys(doubt.code for doubt in item.doubts)
    return [
        say(
            rules,
            "pooled_doubt",
            str(code),
            other=_other([doubt for doubt in item.doubts if doubt.code is code], rules, unit),
        )
        for code in codes
    ]


def _other(doubts: list[Doubt], rules: RuleBook, unit: str, hidden: Hidden = nothing_hidden) -> str:
    code = doubts[0].code
    names = [name for name in dict.fromkeys(doubt.other for doubt in doubts) if name]
    if code is DoubtCode.CONFOUNDER:
        return " or ".join(named(name, rules, unit, hidden) for name in names)
    if code is DoubtCode.WEEKDAY:
        return listed([WEEKDAYS[day] for day in " ".join(names).split()])
    if code is DoubtCode.ONE_DAY:
        return " or ".join(" ".join([day_name(name), *name[11:16].split()]) for name in names)
    return " ".join(names)
