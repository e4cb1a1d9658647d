"""What is said of one pattern: what came before what, the counts of both groups, the size."""

from __future__ import annotations

from miner.core.results import Doubt, DoubtCode, Evidence, Hypothesis, Ranking, Shape
from miner.rulebook import RuleBook
from miner.words.amounts import Amounts
from miner.words.sentences import (
    each_more,
    factor_phrase,
    factor_words,
    outcome_changed,
    outcome_label,
)
from miner.words.wording import WEEKDAYS, capital, day_name, listed, say

CLAIMED = (Evidence.CLEAR, Evidence.HINT)


def sentence(
    item: Hypothesis, rules: RuleBook, unit: str = "day", amounts: Amounts | None = None
) -> str:
    """Return what came before what, where it is claimed, then the counts of both groups.

    What is clear and could run backwards says so here, so that nobody reads it without that.

    Args:
        item: what was counted.
        rules: the rule books.
        unit: "day" or "meal".
        amounts: the unit that is shown.
    """
    claimed = item.evidence in CLAIMED
    said = [headline(item, rules, unit, amounts)] if claimed else []
    said.append(counted(item, rules, unit, amounts))
    if item.evidence is Evidence.CLEAR and item.could_run_backwards:
        said.append(say(rules, "sentence", "backwards"))
    return " ".join(text for text in said if text)


def headline(
    item: Hypothesis, rules: RuleBook, unit: str = "day", amounts: Amounts | None = None
) -> str:
    """Return which habits came before or went with what; of what is not claimed, how it stands.

    Args:
        item: what was counted.
        rules: the rule books.
        unit: "day" or "meal".
        amounts: the unit that is shown.
    """
    names = {
        "habits": capital(habits_of(item, rules, unit)),
        "of_habits": habits_of(item, rules, unit),
        "label": outcome_label(item.outcome, rules, unit),
    }
    if item.difference is None or item.evidence not in CLAIMED:
        little = item.evidence is Evidence.LITTLE_SIGN
        return say(rules, "sentence", "little_sign" if little else "cannot_tell", **names)
    changed, relation = outcome_changed(item, rules, unit), _relation(item, unit)
    each = each_more(item, rules, unit)
    if not each:
        together = "together_" if len(item.factors) > 1 else ""
        return say(rules, "sentence", f"{together}{relation}", changed=changed, **names)
    size = (amounts or Amounts()).about(item.difference, item.unit)
    key = f"dose_{relation}"
    return say(rules, "sentence", key, each=capital(each), changed=changed, size=size)


def habits_of(item: Hypothesis, rules: RuleBook, unit: str = "day") -> str:
    """Return a habit as days or meals with it, "short nights"; of several the phrases."""
    if len(item.factors) == 1:
        return factor_words(item.factors[0], rules, unit)
    return listed([factor_phrase(name, rules, unit) for name in item.factors])


def counted(
    item: Hypothesis, rules: RuleBook, unit: str = "day", amounts: Amounts | None = None
) -> str:
    """Return the counts of both groups, or their means where the counts point the other way.

    Of a dose that is claimed, without units on both sides of its cut, nothing is counted.
    """
    counts, values = item.counts, _values(item, rules, unit)
    if counts.known == 0:
        return say(rules, "sentence", "no_units", unit=unit)
    if not counts.with_ or not counts.without:
        told = item.shape is Shape.DOSE and item.evidence in CLAIMED
        return "" if told else say(rules, "sentence", "one_side", **values)
    way = "for" if _relation(item, unit) == "same_day" else "after"
    if _points_against(item, rules, unit) and item.means is not None:
        show, (with_, without) = amounts or Amounts(), item.means
        means = {
            "mean_with": show.level(with_, item.unit),
            "mean_without": show.level(without, item.unit),
        }
        said = say(rules, "sentence", f"means_{way}", unit=show.unit(item.unit), **means, **values)
        turned = (with_ - without) * (item.difference or 0.0) < 0
        return f"{said} {say(rules, 'sentence', 'turned')}" if turned else said
    together = "together_" if len(item.factors) > 1 else ""
    return say(rules, "sentence", f"{together}counted_{way}", **values)


def counted_briefly(item: Hypothesis, rules: RuleBook, unit: str, amounts: Amounts) -> str:
    """Return the counts of both groups in a few words; their means where they point otherwise."""
    counts, values = item.counts, _values(item, rules, unit)
    both = counts.with_ and counts.without
    if not both or item.means is None or not _points_against(item, rules, unit):
        return say(rules, "hints", "counts", **values)
    with_, without = (amounts.level(mean, item.unit) for mean in item.means)
    shown = {"mean_with": with_, "mean_without": without, "unit": amounts.unit(item.unit)}
    return say(rules, "hints", "means", **shown)


def _points_against(item: Hypothesis, rules: RuleBook, unit: str) -> bool:
    """Say whether the counts of high units point against the difference of one habit."""
    counts, outcome = item.counts, rules.outcome(item.outcome, unit)
    more = counts.with_high / counts.with_ - counts.without_high / counts.without
    difference = item.difference or 0.0
    worse = difference if outcome.worse == "higher" else -difference
    return len(item.factors) == 1 and bool(difference) and more * worse < 0


def _relation(item: Hypothesis, unit: str) -> str:
    """Return how it stands in time: what is part of a meal does not come before it."""
    return "same_day" if unit == "meal" else item.relation


def _values(item: Hypothesis, rules: RuleBook, unit: str) -> dict[str, object]:
    """Return what a sentence of counts may name."""
    counts, outcome = item.counts, rules.outcome(item.outcome, unit)
    factors = [rules.factor(name, unit) for name in item.factors]
    one, many = factors[0].with_one, factors[0].with_many
    return {
        "was": capital(outcome.it_was),
        "was_high": capital(outcome.it_was_high),
        "with_high": counts.with_high,
        "with_": counts.with_,
        "with_words": one if counts.with_ == 1 else many,
        "without_high": counts.without_high,
        "without": counts.without,
        "others": "other" if counts.without == 1 else "others",
        "habits": capital(habits_of(item, rules, unit)),
        "times": "once" if counts.with_ == 1 else f"{counts.with_} times",
    }


def size_words(item: Hypothesis, rules: RuleBook, unit: str, amounts: Amounts) -> str:
    """Return how large the difference is, in which range it may be, and what to expect.

    Args:
        item: what was found, with a difference.
        rules: the rule books.
        unit: "day" or "meal".
        amounts: the unit that is shown.
    """
    if item.difference is None:
        return ""
    outcome, own = rules.outcome(item.outcome, unit), item.unit
    ways = (outcome.more, outcome.less)
    values = {
        "size": amounts.about(item.difference, own),
        "way": outcome.way(item.difference),
        "each": each_more(item, rules, unit),
        "units": f"{unit}s",
    }
    start = "size_each" if values["each"] else "size"
    said = say(rules, "sentence", start, **values)
    if item.interval is not None:
        between = amounts.between(item.interval, own, ways)
        said += f" {say(rules, 'sentence', 'between', between=between)}"
    if item.small:
        said += say(rules, "sentence", "expect_little", **values)
    elif item.expected_on_new_days is not None:
        expected = amounts.level(abs(item.expected_on_new_days), own)
        said += say(rules, "sentence", "expect", expected=expected, **values)
    return f"{said}."


def other_of(doubts: list[Doubt], rules: RuleBook, unit: str) -> str:
    """Return what doubts of one code name, in words."""
    code = doubts[0].code
    names = [name for name in dict.fromkeys(doubt.other for doubt in doubts) if name]
    if code is DoubtCode.CONFOUNDER:
        return " or ".join(factor_phrase(name, rules, unit) for name in names)
    if code is DoubtCode.WEEKDAY:
        return listed([f"{WEEKDAYS[day]}s" for day in " ".join(names).split()])
    if code is DoubtCode.ONE_DAY:
        return " or ".join(" ".join([day_name(name), *name[11:16].split()]) for name in names)
    return " ".join(names)


def inseparable(ranking: Ranking, rules: RuleBook) -> list[tuple[Hypothesis, ...]]:
    """Return the groups, the smallest p first, that would be at least a hint as one habit.

    Args:
        ranking: what ``rank`` found.
        rules: the rule books it was made with.
    """
    groups: list[list[Hypothesis]] = []
    level = rules.guardrails.hint_level
    worth = {name: one.smallest_worth_it for name, one in rules.outcomes_of(ranking.unit).items()}
    for found in sorted(ranking.not_told_apart(level, worth), key=lambda one: (one.p, one.factors)):
        joined = [group for group in groups if any(_alike(found, one) for one in group)]
        groups = [group for group in groups if group not in joined]
        groups.append([*(one for group in joined for one in group), found])
    each = [tuple(sorted(group, key=lambda one: (one.p, one.factors))) for group in groups]
    whole = [group for group in each if len(group) > 1]
    return sorted(whole, key=lambda group: (group[0].p, group[0].factors, group[0].outcome))


def _alike(one: Hypothesis, other: Hypothesis) -> bool:
    pairs = ((one, other), (other, one))
    return one.outcome == other.outcome and any(a.came_with == b.factors[0] for a, b in pairs)
