"""One hypothesis with every number, for the practitioner's own page."""

from __future__ import annotations

from typing import Any

from miner.core.errors import several
from miner.core.results import Evidence, Hypothesis
from miner.words.amounts import chance, fixed
from miner.words.labels import evidence_of
from miner.words.safe import clean
from miner.words.sentences import against_guess, less_than_worth, say
from miner.words.teller import Teller


def detailed(item: Hypothesis, teller: Teller) -> dict[str, Any]:
    """Return everything that is known of a hypothesis, as text."""
    counts = item.counts
    return {
        "id": item.id,
        "title": teller.title(item),
        "food": teller.about_food(item),
        "sentence": clean(teller.sentence(item)),
        "evidence": evidence_of(item, teller.rules),
        "asked": asked(item, teller),
        "before": teller.ended(item),
        "size": sized(item, teller),
        "with_": f"{counts.with_high} of {counts.with_}",
        "without": f"{counts.without_high} of {counts.without}",
        "unknown": counts.unknown,
        "p": chance(item.p),
        "p_adjusted": chance(item.p_adjusted),
        "told": [*_numbers(item, teller), *_words(item, teller)],
    }


def sized(item: Hypothesis, teller: Teller) -> str:
    """Return the difference with its interval and its unit."""
    if item.difference is None:
        return "not known"
    amounts = teller.amounts
    size = f"{amounts.difference(item.difference, item.unit)} {amounts.unit(item.unit)}"
    each = teller.each_more(item)
    size += f" for {each}" if each else ""
    return f"{size} ({amounts.interval(item.interval, item.unit)})" if item.interval else size


def asked(item: Hypothesis, teller: Teller) -> str:
    """Return when a question was fixed, and the guess."""
    if item.family != "fixed" or not item.fixed_on:
        return ""
    key = "told" if item.fixed_proven is False else "proven"
    said = say(teller.rules, "fixed", key, day=item.fixed_on)
    if item.guess in ("up", "down"):
        guess = say(teller.rules, "fixed", f"guess_{item.guess}")
        said = f"{said} {guess} {against_guess(item, teller.rules)}".rstrip()
    return said


def _numbers(item: Hypothesis, teller: Teller) -> list[str]:
    amounts, counts = teller.amounts, item.counts
    worth = amounts.size(teller.outcome(item).smallest_worth_it / item.span, item.unit)
    new = item.expected_on_new_days
    text = "" if new is None else f"on new {teller.unit}s {amounts.difference(new, item.unit)}; "
    return [
        f"Difference {sized(item, teller)}; {text}worth acting on from {worth}.",
        f"p {chance(item.p)}, adjusted {chance(item.p_adjusted)}; lift {fixed(counts.lift, 2)}, "
        f"leverage {fixed(counts.leverage, 2)}; unknown {counts.unknown}; "
        f"lag {', '.join(str(lag) for lag in item.lag_days)}.",
    ]


def _words(item: Hypothesis, teller: Teller) -> list[str]:
    told = item.evidence in (Evidence.CLEAR, Evidence.HINT)
    said = [item.luck_sentence] if told else []
    said += [less_than_worth(item, teller.rules, teller.amounts, teller.unit)]
    along, tries = teller.travels(item), teller.tries(item)
    said += [f"Often along with it: {', '.join(along)}."] if along else []
    if item.could_run_backwards and item.evidence is not Evidence.CLEAR:
        said.append(say(teller.rules, "sentence", "backwards"))
    if item.days_to_settle:
        further = several(item.days_to_settle, "new day")
        said.append(say(teller.rules, "cannot_tell", "settle", further=further))
    said += teller.reasons(item)
    said += [f"What could be tried: {' '.join(tries)}"] if tries else []
    return [text for text in said if text]
