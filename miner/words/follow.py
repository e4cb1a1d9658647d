"""What was kept and what new days said of it, for people."""

from __future__ import annotations

from dataclasses import replace

from miner.core.messages import Message, message, several
from miner.core.results import Shape, Since
from miner.core.results.follow import ChosenIdea, EveryLook, Following, KeptResult
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.document import Parts, heading, paragraph
from miner.words.document import item as numbered
from miner.words.door import folder_now
from miner.words.noting import not_ticked_parts
from miner.words.safe import clean
from miner.words.sentences import (
    comes_before,
    difference_words,
    ended_words,
    factor_phrase,
    outcome_label,
    result_size,
    way_words,
)
from miner.words.wording import capital, dated, say

WORTH_WATCHING = 0.6
"""Power on its date below which watching is said to be less than a test."""
ENDED = ("held_up", "did_not_hold", "habit_stopped", "not_settled")


def follow_sentence(item: KeptResult, rules: RuleBook, case: str = "") -> str:
    """Return what may be said of it; a verdict, of a test too, in the words of its level.

    Args:
        item: what was kept.
        rules: the rule books with the kept definitions.
        case: "dropped", if it was given up.
    """
    test = item.test
    if test is not None and (test.status is not None or test.case == "never_begun"):
        return test.sentence
    if case == "dropped":
        text = say(rules, "follow", "dropped")
    elif item.status is None:
        text = say(rules, "follow", item.as_)
    else:
        text = verdict_words(item, rules)
    return " ".join([text, *_past(item, rules)])


def _past(item: KeptResult, rules: RuleBook) -> list[str]:
    """Return how it ended before, and what of it is not proven or was changed since."""
    said = []
    if item.tried_before:
        ended = ended_words(item.tried_before, rules)
        said.append(say(rules, "follow", "tried_before", ended=ended))
    if not item.proven:
        said.append(say(rules, "follow", "not_proven"))
    if item.since is not None:
        without = ended_words(item.since.without, rules) if item.since.without else ""
        found = replace(item.since, over_before=0)
        said += map(str, found.messages(rules, without, item.unit_of))
    return said


def verdict_words(item: KeptResult, rules: RuleBook) -> str:
    """Return the sentence of a status, with its reason or what is counted so far."""
    counted = _counted(item, rules)
    text = say(rules, "follow", str(item.status), **counted)
    if item.status == "waiting":
        text += f" {say(rules, 'follow', 'waiting_counts', **counted)}"
    told = item.status in ("not_settled", "waiting") and str(item.reason)
    return f"{text} {capital(told)}." if told else text


def follow_parts(found: Following, rules: RuleBook, *, display_unit: str = "mg/dL") -> Parts:
    """Return everything kept as headings and paragraphs, in the order it was kept.

    Args:
        found: what ``follow`` returned.
        rules: the rule books, for the words.
        display_unit: ``mg/dL`` or ``mmol/L``.
    """
    last = f", records to {dated(found.last_day)}" if found.last_day else ""
    parts: Parts = [heading(f"{clean(found.client, 60)}, kept patterns{last}")]
    parts += [paragraph(note) for note in found.notes]
    tests = {one.test.plan: _test_of(one, rules) for one in found.kept if one.test is not None}
    parts += not_ticked_parts(found.not_ticked, str(folder_now()), tests=tests)
    if not found.kept and not found.left:
        parts.append(paragraph(say(rules, "follow", "nothing")))
    for number, item in enumerate(found.kept, 1):
        parts += kept_parts(item, rules, Amounts(display_unit), str(number))
    for one in found.left:
        left = say(rules, "follow", "left", on=dated(one.on), id=one.id)
        parts += [paragraph(""), paragraph(f"{kept_title(one, rules)}."), paragraph(left, 3)]
    return parts


def _test_of(item: KeptResult, rules: RuleBook) -> Message:
    """Return what a test is about: "the test of short nights and waking glucose"."""
    many = [clean(rules.factor(name, item.unit_of).with_many, 80) for name in item.factors]
    label = outcome_label(item.outcome, rules, item.unit_of)
    return message("words.test_of", habits=many, label=label)


def kept_parts(item: KeptResult, rules: RuleBook, amounts: Amounts, number: str = "") -> Parts:
    """Return one kept pattern: what it is and how it ended, then counts, sizes and dates."""
    verdict, *lines = kept_lines(item, rules, amounts)
    if item.reworded:
        words = ", ".join(f"'{clean(word, 60)}'" for word in item.reworded)
        lines.append(say(rules, "follow", "reworded", words=words))
    title = f"{kept_title(item, rules)}. {verdict}"
    head = numbered(number, title) if number else paragraph(title)
    return [paragraph(""), head, *(paragraph(line, 3) for line in lines)]


def kept_title(item: KeptResult | ChosenIdea, rules: RuleBook) -> str:
    """Return the words of a pattern: the habit, and of a kept one which way glucose went."""
    if not isinstance(item, KeptResult):
        names = " and ".join(factor_phrase(name, rules, item.unit_of) for name in item.factors)
        return f"{capital(names)}, {outcome_label(item.outcome, rules, item.unit_of)}"
    many = (clean(rules.factor(name, item.unit_of).with_many, 80) for name in item.factors)
    names = _each(item, rules) or " and ".join(many)
    changed = rules.outcome(item.outcome, item.unit_of).changed(1 if item.direction == "up" else -1)
    return f"{capital(names)}, {'then' if _comes_before(item, rules) else 'with'} {changed}"


def _each(item: KeptResult, rules: RuleBook) -> str:
    """Return what the difference of a dose is for, such as "each hour less sleep"; else nothing."""
    own = rules.factor(item.factors[0], item.unit_of)
    return own.each or "" if item.shape is Shape.DOSE else ""


def _comes_before(item: KeptResult, rules: RuleBook) -> bool:
    """Say whether the habit comes before what is measured, and does not only go with it."""
    pairs = zip(item.factors, item.lag_days, strict=True)
    return all(comes_before(one, item.outcome, rules, item.unit_of, lag) for one, lag in pairs)


def kept_lines(item: KeptResult, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return what came of a kept pattern, the verdict first, and at the end when it was kept."""
    test = item.test if item.test and (item.open or item.test.status is not None) else None
    lines = [item.sentence] if test is None else [test.sentence]
    if test is not None:
        lines += result_size(test, rules, amounts)
        lines += map(str, test.pauses)
        lines += [] if item.sentence == test.sentence else _past(item, rules)
    if item.open and item.as_ == "watch" and item.read_on:
        lines.append(say(rules, "follow", "watch"))
        lines += _power(item, rules, amounts)
    lines += seen_lines(item, rules, amounts)
    if item.since is not None:
        over = Since(over_before=item.since.over_before)
        lines += map(str, over.messages(rules, unit=item.unit_of))
    if item.every_look is not None:
        lines.append(_looks(item.every_look, item, rules))
    values = {
        "on": dated(item.kept_on),
        "way": way_words(item.as_, rules),
        "upto": dated(item.suggested_by_days_to),
        "note": f" ({clean(item.note, 200)})" if item.note else "",
        "names": f"ID {item.id}" + (f", test {test.plan}" if test else ""),
    }
    return [*lines, say(rules, "follow", "kept", **values)]


def seen_lines(item: KeptResult, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return how large the difference was on new units, of how many, and what was expected."""
    if item.difference is None or item.interval is None or item.counts is None:
        return []
    rule, each = rules.outcome(item.outcome, item.unit_of), _each(item, rules)
    ways = (rule.more, rule.less)
    size = difference_words(item.difference, item.interval, rule, rules, amounts)
    values = _counted(item, rules) | {"it_was": capital(rule.it_was), "each": each, **size}
    key = "seen_at" if item.unit_of == "meal" else "seen_on"
    key = "seen_after" if _comes_before(item, rules) else key
    key = "seen_each" if each else key
    lines = [say(rules, "follow", key, **values)]
    if item.expected is not None:
        told = amounts.way(item.expected, item.unit, ways)
        lines.append(say(rules, "follow", "expected", expected=told))
    if item.status == "did_not_hold":
        lines.append(say(rules, "follow", "stop_watching"))
    return lines


def _power(item: KeptResult, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return how often the date shows what is looked for; where seldom, that a test tells more."""
    if item.power is None or item.sought is None:
        return []
    key = "power" if item.power >= WORTH_WATCHING else "power_low"
    size = f"{amounts.size(item.sought, item.unit)} {amounts.unit(item.unit)}"
    return [say(rules, "follow", key, size=size, power=round(100 * item.power))]


def _looks(look: EveryLook, item: KeptResult, rules: RuleBook) -> str:
    keys = ["looked_clear" if look.reached else "looked_open"]
    if look.units_one_look is not None:
        keys.append("looks_far" if look.units_every_look is None else "looks")
    keys += ["looks_longer"] * bool(look.price_days)
    values = {
        "day": dated(look.reached_on),
        "one": look.units_one_look,
        "every": look.units_every_look,
        "units": f"{item.unit_of}s",
        "days": several(look.price_days or 0, "day"),
    }
    return " ".join(say(rules, "follow", key, **values) for key in keys)


def _counted(item: KeptResult, rules: RuleBook) -> dict[str, object]:
    counts = item.counts
    with_, without = (counts.with_, counts.without) if counts else (0, 0)
    one, others = group_words(item, rules, with_, without)
    unknown = item.new_units - with_ - without
    return {
        "units": several(item.new_units, f"new {item.unit_of}"),
        "with_": with_,
        "without": without,
        "with_words": one,
        "without_words": others,
        "unknown": say(rules, "follow", "not_known", unknown=unknown) if unknown else "",
        "read_on": dated(item.read_on),
    }


def group_words(
    item: KeptResult, rules: RuleBook, with_: int = 2, without: int = 2
) -> tuple[str, str]:
    """Return what units with the habit and without it are called, so many of each."""
    factors = [rules.factor(name, item.unit_of) for name in item.factors]
    if len(factors) > 1:
        units = f"{item.unit_of}{'' if with_ == 1 else 's'}"
        others = f"{item.unit_of}{'' if without == 1 else 's'}"
        return f"{units} with all of them", f"other {others}"
    one = factors[0]
    few = one.with_one if with_ == 1 else one.with_many
    other = (one.without_one or one.without_many) if without == 1 else one.without_many
    return clean(few, 80), clean(other, 80)
