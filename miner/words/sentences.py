"""The sentence of each result, in counts, in the words of the rule book."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor
from typing import TYPE_CHECKING, Any

from miner.core.messages import MinerError, several
from miner.core.results import DoubtCode, Evidence, Hypothesis, PlanResult, Ranking, Shape, Withheld
from miner.core.results.caseload import ByClient, PooledEffect, Suggestion
from miner.rulebook import OutcomeRule, RuleBook
from miner.words.amounts import Amounts
from miner.words.door import Audience, door_now, said_to
from miner.words.safe import clean
from miner.words.safe import name as shortened
from miner.words.wording import capital, full_date, say

if TYPE_CHECKING:
    from miner.core.results.meals import MealComparison

TAG = "tag:"


def outcome_label(name: str, rules: RuleBook, unit: str = "day") -> str:
    """Return the words of an outcome, or its name where the rule book has none."""
    try:
        return rules.outcome(name, unit).label
    except MinerError:
        return clean(name, 60)


def outcome_changed(item: Hypothesis, rules: RuleBook, unit: str = "day") -> str:
    """Return which way the outcome of a hypothesis went, as a noun: "higher waking glucose"."""
    return rules.outcome(item.outcome, unit).changed(item.difference or 0.0)


def factor_phrase(name: str, rules: RuleBook, unit: str = "day") -> str:
    """Return the words of a factor, or its name where the rule book has none."""
    try:
        return shortened(rules.factor(name, unit).phrase)
    except MinerError:
        return clean(name, 60)


def comes_before(
    factor: str, outcome: str, rules: RuleBook, unit: str, lag: int | None = None
) -> bool:
    """Say whether a habit comes before what is measured, and does not only go with it.

    Args:
        factor: the habit.
        outcome: the glucose measure.
        rules: the rule books.
        unit: "day" or "meal".
        lag: days between the two; by default those of the rule books.
    """
    rule, window = rules.factor(factor, unit), rules.outcome(outcome, unit).window
    lag = rule.lag.get(window, 0) if lag is None else lag
    return unit == "day" and not (lag == 0 and window in rule.same_time)


def factor_name(name: str, rules: RuleBook | None, unit: str = "day", *, limit: int = 60) -> str:
    """Return the name of a factor: as the rule book has it; on a page in its words."""
    if rules is None or door_now() != "page":
        return clean(name, limit)
    return factor_phrase(name, rules, unit)


def factor_words(factor: str, rules: RuleBook, unit: str = "day") -> str:
    """Return units with a factor in words: ``short nights``, ``restaurant days``."""
    try:
        return shortened(rules.factor(factor, unit).with_many)
    except MinerError:
        return shortened(factor)


def evidence_words(level: Evidence | str, rules: RuleBook) -> str:
    """Return the one sentence an evidence level may be told in."""
    return str(rules.wording["evidence"][str(level)])


def evidence_of(item: Hypothesis, rules: RuleBook, *, client: bool = False) -> str:
    """Return the level of a hypothesis; what rests on a date nobody can show says so.

    Args:
        item: what is told.
        rules: the rule books.
        client: the words for a client's page.
    """
    if not on_a_told_date(item):
        return evidence_words(item.evidence, rules)
    words = rules.wording["evidence_if"]["client" if client else "clear"]
    return str(words).format(day=full_date(item.fixed_on or ""))


def on_a_told_date(item: Hypothesis) -> bool:
    """Say whether it is clear only if its question was written down when somebody says it was."""
    return item.evidence is Evidence.CLEAR and item.fixed_proven is False


def reason_words(withheld: Withheld) -> str:
    """Return why nothing is said, with the counts or the shares where these decide."""
    have, need = withheld.have, withheld.need
    reason = str(withheld.reason).rstrip(".")
    if have is None or need is None:
        return f"{reason}."
    if need < 1:
        limit = "most" if have > need else "least"
        counts = f"{100 * have:.0f} %; at {limit} {100 * need:.0f} % would do"
    else:
        counts = f"{have:g} of the {need:g} needed"
    return f"{reason} ({counts})."


ABOUT_A_MONTH = (24, 38)
"""Days of a record that may be called a month."""


def verdict(ranking: Ranking, rules: RuleBook, amounts: Amounts | None = None) -> str:
    """Return what the records say, in one line; of nothing found, what they could have shown.

    Args:
        ranking: what was found.
        rules: the rule books.
        amounts: the unit that is shown.
    """
    if ranking.status == "too_few":
        more = ranking.need_units - ranking.usable_units
        units = f"{ranking.unit}s"
        return say(rules, "rank", "too_few", units=units, need=ranking.need_units, more=more)
    if ranking.questions_asked == 0 or _untested(ranking):
        closed = bool(ranking.outcomes) and all(item.withheld for item in ranking.outcomes)
        key = "unrankable" if closed else "unasked"
        return say(rules, "rank", key, units=f"{ranking.unit}s")
    claims = [item for item in ranking.hypotheses if item.evidence is Evidence.CLEAR]
    clear = [item for item in claims if not item.small]
    if clear:
        return _clear(clear, rules)
    small = "small_" if claims else ""
    hints = [item for item in ranking.hypotheses if item.evidence is Evidence.HINT]
    fixed = sum(item.family == "fixed" for item in hints)
    searched = len(hints) - fixed
    shown = min(searched, rules.guardrails.hints_shown)
    # What passed the claim level and failed another check is more than a hint of chance.
    passed = sum(
        item.family != "fixed"
        and item.p_adjusted is not None
        and item.p_adjusted <= ranking.claim_level
        for item in hints
    )
    worth = fixed + (min(passed, shown) if no_more_than_chance(ranking, searched) else shown)
    if worth:
        key = "hint_one" if worth == 1 else "hint_many"
        return say(rules, "rank", f"{small}{key}", count=worth)
    if small:
        return say(rules, "rank", "small_only")
    if could_have_shown(ranking, rules):
        return say(rules, "rank", "nothing")
    main = next((o for o in ranking.outcomes if o.name == ranking.primary_outcome), None)
    if main is None or main.detectable is None:
        return say(rules, "rank", "could_not_tell_anything")
    show, label = amounts or Amounts(), outcome_label(main.name, rules, ranking.unit)
    size = show.about(main.detectable, main.unit)
    return say(rules, "rank", "could_not_tell", size=size, label=label)


def _clear(clear: Sequence[Hypothesis], rules: RuleBook) -> str:
    """Return how many are clear, and how many only if a date is as somebody says."""
    told = [item for item in clear if on_a_told_date(item)]
    number = "one" if len(clear) == 1 else "many"
    if len(told) == len(clear):
        day = full_date(told[0].fixed_on or "")
        return say(rules, "rank", f"if_{number}", count=len(clear), day=day)
    said = say(rules, "rank", f"clear_{number}", count=len(clear))
    return f"{said} {say(rules, 'rank', 'if_others', count=len(told))}" if told else said


def could_have_shown(ranking: Ranking, rules: RuleBook) -> bool:
    """Say whether something would have stood out: of enough single habits little sign was seen."""
    singles = [item for item in ranking.hypotheses if len(item.factors) == 1 and item.p is not None]
    little = sum(item.evidence is Evidence.LITTLE_SIGN for item in singles)
    return little > 0 and little >= rules.guardrails.least_share_little_sign * len(singles)


def _untested(ranking: Ranking) -> bool:
    return bool(ranking.hypotheses) and all(item.p is None for item in ranking.hypotheses)


def not_ranked(ranking: Ranking, rules: RuleBook) -> list[str]:
    """Return which outcomes could not be ranked, each with its reason."""
    return [
        say(
            rules,
            "rank",
            "not_ranked",
            label=outcome_label(item.name, rules, ranking.unit),
            reason=reason_words(item.withheld),
        )
        for item in ranking.outcomes
        if item.withheld
    ]


def against_guess(item: Hypothesis, rules: RuleBook) -> str:
    """Return that a difference went against the guess of its fixed question, or nothing."""
    doubted = any(doubt.code is DoubtCode.OTHER_WAY for doubt in item.doubts)
    if item.guess not in ("up", "down") or not item.difference or doubted:
        return ""
    way = "up" if item.difference > 0 else "down"
    if way == item.guess:
        return ""
    told = item.evidence in (Evidence.CLEAR, Evidence.HINT)
    return say(rules, "fixed", f"{'other_way' if told else 'so_far'}_{way}")


def less_than_worth(item: Hypothesis, rules: RuleBook, amounts: Amounts, unit: str) -> str:
    """Return of a small claim that less is expected on new units than is worth acting on.

    Args:
        item: a hypothesis.
        rules: the rule books.
        amounts: the unit that is shown.
        unit: "day" or "meal".
    """
    rule = rules.outcomes.get(rules.key_of(item.outcome, unit))
    if rule is None or not item.small:
        return ""
    size = f"{amounts.size(rule.smallest_worth_it, item.unit)} {amounts.unit(item.unit)}"
    return say(rules, "worth", "less_on_new", units=f"{unit}s", worth=size)


def no_more_than_chance(ranking: Ranking, hints: int) -> bool:
    """Return whether so many hints of the search are what chance alone would give."""
    by_chance = ranking.hints_by_chance
    return hints == 0 or (by_chance is not None and hints <= floor(by_chance + 0.5))


def each_more(item: Hypothesis, rules: RuleBook, unit: str = "day") -> str:
    """Return what the difference of a dose is for: "each hour less sleep"; of a cut nothing."""
    if item.shape is not Shape.DOSE:
        return ""
    return rules.factor(item.factors[0], unit).each or ""


def luck(item: Hypothesis, rules: RuleBook) -> str:
    """Return how often luck alone would show something this strong."""
    found = luck_count(item)
    if found is None:
        return ""
    family, count = found
    key = f"{family}_rare" if count < 1 else family
    return say(rules, "luck", key, count=count)


def luck_count(item: Hypothesis) -> tuple[str, int] | None:
    """Return what luck is counted for, ``search`` or ``fixed``, and its count out of 100."""
    if item.p_adjusted is None or item.p is None:
        return None
    if item.family == "fixed" and item.fixed_before is not False:
        return "fixed", round(100 * item.p)
    return "search", round(100 * item.p_adjusted)


def ended_words(status: str | None, rules: RuleBook) -> str:
    """Return the sentence of a status; one that no rule book knows stands as it is.

    Args:
        status: of a verdict; ``changed_worse`` where a test changed for the worse.
        rules: the rule books, for the words.
    """
    try:
        return say(rules, "tried", str(status))
    except MinerError:
        return clean(status or "", 40)


def way_words(as_: Any, rules: RuleBook) -> str:
    """Return how an idea is kept, as words after "kept"; a way that no rule book knows as it is."""
    try:
        return say(rules, "ways", str(as_))
    except MinerError:
        return clean(as_, 20)


def across(item: PooledEffect | Suggestion, rules: RuleBook, unit: str, display_unit: str) -> str:
    """Return a difference across clients, or across the others of one."""
    theirs = said_to(rules, Audience.PRACTITIONER)
    return _across(item, theirs, Amounts(display_unit), unit)


def suggestion(
    row: ByClient, item: PooledEffect, rules: RuleBook, unit: str, display_unit: str
) -> str:
    """Return what the others suggest where a client's own records cannot tell."""
    show = Amounts(display_unit)
    sentence = _across(item, rules, show, unit)
    if row.shrunken is None or row.interval is None:
        return f"{sentence} Yours is not yet known."
    likely = show.difference(row.shrunken, item.unit)
    between = show.interval(row.interval, item.unit)
    return (
        f"{sentence} Yours is not yet known. Seen together with the others it may be about "
        f"{likely} {show.unit(item.unit)} ({between})."
    )


def habit_phrase(item: PooledEffect | Suggestion, rules: RuleBook, unit: str) -> str:
    """Return a habit in words; of a dose what its difference is for."""
    rule = rules.factor(item.factor, unit)
    return factor_phrase(item.factor, rules, unit) if item.per is None else rule.each or ""


def _across(item: PooledEffect | Suggestion, rules: RuleBook, show: Amounts, unit: str) -> str:
    from miner.core.results.caseload import Suggestion

    outcome = rules.outcome(item.outcome.removeprefix(f"{unit}."), unit)
    factor, difference = habit_phrase(item, rules, unit), item.difference or 0.0
    others = "other clients" if isinstance(item, Suggestion) else "clients"
    size = f"{show.size(abs(difference), item.unit)} {show.unit(item.unit)}"
    size += f" {outcome.way(difference)} {'after' if item.relation == 'precedes' else 'with'}"
    between = show.interval(item.interval, item.unit)
    return f"Across {item.clients} {others}, {outcome.it_was} {size} {factor} ({between})."


GUESS = {"up": "higher", "down": "lower"}


def question_of(item: Suggestion, rules: RuleBook) -> str:
    """Return a question in a few words: the habit, the outcome, the guess."""
    label = outcome_label(item.outcome.removeprefix(f"{item.by}."), rules, item.by)
    return f"{habit_phrase(item, rules, item.by)}: {label} {GUESS[item.guess]}"


def result_size(found: PlanResult, rules: RuleBook, amounts: Amounts) -> list[str]:
    """Return how large the difference was, and how that stands to the one agreed on."""
    difference, worth = found.difference, amounts.level(found.worth_having, found.unit)
    if difference is None:
        return []
    rule, pairs = rules.outcome(found.outcome, found.unit_of), several(found.pairs_used, "pair")
    size = difference_words(difference, found.interval, rule, rules, amounts)
    lines = [say(rules, "result", "size", it_was=capital(rule.it_was), pairs=pairs, **size)]
    ends = (0.0, 0.0) if found.interval is None else found.interval
    beyond = max(map(abs, ends)) >= found.worth_having
    key = {"no_change": "looked_for", "not_settled": "fits_both" if beyond else ""}
    told = key.get(str(found.status), "")
    if found.status == "changed" and abs(difference) > found.worth_having:
        told = "more_agreed"
    if told:
        unit = amounts.unit(found.unit)
        lines.append(say(rules, "result", told, worth=worth, unit=unit))
    return lines


def difference_words(
    value: float,
    interval: tuple[float, float] | None,
    rule: OutcomeRule,
    rules: RuleBook,
    amounts: Amounts,
) -> dict[str, str]:
    """Return how large a difference is and between what it may really be, in words."""
    unit, ways = rule.measure_unit, (rule.more, rule.less)
    reach = amounts.reach(interval, unit, ways) if interval else say(rules, "result", "no_range")
    return {"size": amounts.way(value, unit, ways), "reach": reach}


def comparison_sentence(found: MealComparison, rules: RuleBook, display_unit: str = "mg/dL") -> str:
    """Return what a comparison of meals shows, in counts."""
    amounts = Amounts(display_unit)
    label = rules.outcome(found.outcome, "meal").label
    phrase = rules.factor(found.factor, "meal").phrase
    if not found.pairs:
        return (
            f"No similar meals with and without {phrase} can be put next to each other: "
            f"{found.with_} with it, {found.without} without, {found.unknown} not known."
        )
    middle = found.middle_difference or 0.0
    size = f"{amounts.level(abs(middle), found.unit)} {amounts.unit(found.unit)}"
    way = rules.outcome(found.outcome, "meal").way(middle)
    same = len(found.pairs) - found.lower - found.higher
    equal = f", the same in {same}" if same else ""
    return (
        f"{several(len(found.pairs), 'pair')} of similar meals with and without {phrase}: "
        f"the {label} was lower with it in {found.lower}, higher in {found.higher}{equal}. "
        f"The middle difference is {size} {way}."
    )
